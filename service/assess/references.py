"""Which slip and drag at the reference torque does a day that is not judged carry, and from where?"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from analytics.machine import Machine
from analytics.vocabulary import Work
from config.folder import SiteFolder
from service.assess.periods import Stretch
from service.store.ledger_tables import daily

CARRIED: Final = tuple(
    f"{name}{end}_pct" for name in ("slip_ref", "drag_ref") for end in ("", "_low", "_high")
)
LOST_PCT: Final = 100.0
References = Mapping[str, float | None]
NO_REFERENCES: Final[References] = dict.fromkeys(CARRIED)


def keeps_drive(site: SiteFolder, stretches: Sequence[Stretch], number: int) -> bool:
    """Tell whether a stretch's drive is the one of the stretch before, so that its slip and drag still hold.

    A new wheel leaves the belt and the bearings as they were; a retrofit, or a row with another drive or
    motor, does not, whether the wheel was new too or not.
    """
    stretch, begins = stretches[number], stretches[number].begins
    if begins is None:
        return True
    before = site.epoch_at(stretch.fan, begins - dt.timedelta(days=1))
    since, until = stretches[number - 1].begins or dt.date.min, stretch.first or begins
    is_retrofitted = any(
        entry.work is Work.RETROFIT and since < entry.date <= until for entry in site.entries(stretch.fan)
    )
    is_same = before is not None and _drive(before.machine) == _drive(stretch.epoch.machine)
    return is_same and not is_retrofitted


def held_since(site: SiteFolder, stretches: Sequence[Stretch], number: int) -> dt.date | None:
    """Return from when on the drive of a stretch has been the same, None for ever."""
    while number > 0 and keeps_drive(site, stretches, number):
        number -= 1
    return stretches[number].begins


def references_before(
    connection: sa.Connection, fan: str, date: dt.date, since: dt.date | None
) -> References:
    """Return what the last row of the ledger before a date hands on, of those since the drive is the same."""
    row = _last_row(connection, fan, date, since)
    return NO_REFERENCES if row is None else references_after(connection, fan, row, since)


def references_after(
    connection: sa.Connection, fan: str, row: Mapping[str, Any], since: dt.date | None
) -> References:
    """Return what a row of the ledger hands on.

    A drive that is whole again has not the slip of 100 it was lost with: that is never carried.
    """
    if row["slip_ref_low_pct"] != LOST_PCT:
        return {name: row[name] for name in CARRIED}
    is_whole = daily.c.slip_ref_low_pct.is_(None) | (daily.c.slip_ref_low_pct != LOST_PCT)
    whole = _last_row(connection, fan, row["date"], since, is_whole)
    return NO_REFERENCES if whole is None else {name: whole[name] for name in CARRIED}


def _last_row(
    connection: sa.Connection,
    fan: str,
    before: dt.date,
    since: dt.date | None,
    *such: sa.ColumnElement[bool],
) -> Mapping[str, Any] | None:
    columns = [daily.c.date, *(daily.c[name] for name in CARRIED)]
    query = sa.select(*columns).where(daily.c.fan == fan, daily.c.date < before, *such)
    if since is not None:
        query = query.where(daily.c.date >= since)
    found = connection.execute(query.order_by(daily.c.date.desc()).limit(1)).one_or_none()
    return None if found is None else dict(found._mapping)


def _drive(machine: Machine) -> tuple[object, ...]:
    return (
        machine.drive,
        machine.motor_sheave_m,
        machine.wheel_sheave_m,
        machine.motor_type,
        machine.motor_count,
        machine.motor_rated_power_w,
    )
