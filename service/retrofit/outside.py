"""What else moved in the two periods, by the service log, the ledger and the hours themselves?"""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import sqlalchemy as sa

from analytics.savings import step_within
from analytics.vocabulary import Cause
from service.retrofit.asked import Asked
from service.retrofit.figures import Figures
from service.retrofit.kinds import Change
from service.store.ledger_tables import daily
from service.store.store import Store
from service.words import CAUSE_WORDS, plain_date

_SURE: Final = 0.75
_NAMED_DAYS: Final = 3
_LEAST_STEP: Final = 0.005
_STEP_SDS: Final = 4.0
# What the drive itself did before is what the check is about; these move power or readings from elsewhere.
_ELSEWHERE: Final = (
    Cause.RATIO_CHANGE,
    Cause.WHEEL,
    Cause.AIR_PATH,
    Cause.AIRFLOW_SENSOR,
    Cause.PRESSURE_SENSOR,
    Cause.CURRENT_SENSOR,
    Cause.SPEED_NOT_FOLLOWED,
)
# After the change the drive's own faults are news as well.
_AFTER: Final = (Cause.BELT_SLIP, Cause.DRAG, Cause.DRIVE_LOST, *_ELSEWHERE)


def states_within(figures: Figures) -> list[str]:
    """Say which period was two states, and from which day on."""
    compared, found, told = figures.compared, figures.found, []
    for name, fitted, hours in (
        ("before", found.before, compared.before),
        ("after", found.after, compared.after),
    ):
        step = step_within(fitted, hours.day)
        if step is not None and abs(step.rise) > max(_LEAST_STEP, _STEP_SDS * step.sd):
            since, moved = dt.date.fromordinal(int(step.day)), "more" if step.rise > 0.0 else "less"
            told.append(
                f"the time {name} was not one state: from {since} on it drew {100.0 * abs(step.rise):.1f} % "
                f"{moved} at the same air, and the saving is that of its mean; a shorter time may be fairer"
            )
    return told


def outside_changes(store: Store, asked: Asked, change: Change) -> tuple[str, ...]:
    """Return the work done within a period, and the causes that the ledger names there."""
    found = [
        f"service log: {entry.work.value.replace('_', ' ')} on {plain_date(entry.date)}, within a period"
        for entry in change.inside
    ]
    query = sa.select(daily.c.cause, daily.c.cause_share).where(daily.c.fan == asked.fan)
    with store.reader() as connection:
        for name, period in (("before", asked.before), ("after", asked.after)):
            rows = connection.execute(query.where(daily.c.date.between(period.first, period.last))).all()
            found += _named(name, rows, _ELSEWHERE if period is asked.before else _AFTER)
    return tuple(found)


def _named(name: str, rows: Sequence[Any], causes: Sequence[Cause]) -> list[str]:
    sure = [Cause(row.cause) for row in rows if (row.cause_share or 0.0) >= _SURE]
    return [
        f"ledger, {name}: {CAUSE_WORDS[cause]}, on {sure.count(cause)} of {len(rows)} days"
        for cause in causes
        if sure.count(cause) >= _NAMED_DAYS
    ]
