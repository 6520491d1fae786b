"""What a day's row of the ledger says, in words and numbers."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.day_hours import LEAST_HOURS_JUDGED
from analytics.ledger import verdict
from analytics.model import Parameter
from analytics.new_normal import Normal
from analytics.telling import Told
from analytics.vocabulary import Cause
from service.assess.lanes import DayPlan, Lane
from service.assess.periods import is_awaited, is_inside
from service.assess.references import LOST_PCT, NO_REFERENCES
from service.assess.trend import COLUMNS as FORECAST
from service.assess.unread import Unread
from service.store.ledger_tables import NUMBERS

INNOVATIONS: Final = ("slip_innovation", "drag_innovation")
ALONE: Final = ("slip_alone_pct", "drag_alone_pct")
HEALTHY_NOTE: Final = "healthy period"
RETROFIT_NOTE: Final = (
    "retrofit: change is against the time before it, until fans.csv has its baseline_from and baseline_to"
)
OTHER_DRIVE_NOTE: Final = "slip and drag of the drive before do not hold for the new one"
SERVICE_NOTE: Final = "service that day"
AT_ONE_SPEED_NOTE: Final = (
    "learned at one speed: a slipping belt and a fouled wheel look much the same here; "
    "a tachometer reading of motor and wheel decides"
)
_ALIKE_AT_ONE_SPEED: Final = (Cause.BELT_SLIP, Cause.WHEEL)
_LEARNED_WORDS: Final = {
    Parameter.RATIO: "new sheaves, their ratio is being learned",
    Parameter.LOAD_GAIN: "new motor or drive, its load is being learned and slip rests on the air",
}


def blank_row(
    lane: Lane, plan: DayPlan, hours_used: int, reason: str, notes: Sequence[str] = ()
) -> dict[str, Any]:
    """Return the row of a day that cannot be judged: the reference values carried, all else empty."""
    row = _frame(lane, plan, hours_used)
    row.update(dict.fromkeys((*NUMBERS, *INNOVATIONS, *ALONE, *FORECAST)))
    row.update(lane.references)
    if lane.is_other_drive and lane.references == NO_REFERENCES:
        notes = [*notes, OTHER_DRIVE_NOTE]
    row.update(
        cause=Cause.NOT_JUDGED.value, cause_share=None, shares=None, note=_noted(lane, plan, reason, notes)
    )
    return row


@dataclass(frozen=True, slots=True)
class TellingNumbers:
    """What the rows of judged days say in numbers, fan-day by fan-day: read off the arrays at once."""

    columns: Sequence[dict[str, Any]]
    shares: Floats

    @classmethod
    def of(cls, told: Told) -> "TellingNumbers":
        """Read judged days."""
        columns = told.rows.columns()
        names = (*columns, *INNOVATIONS, *ALONE)
        each = np.column_stack([*columns.values(), told.innovation, told.alone]).tolist()
        found: list[dict[str, Any]] = [dict(zip(names, numbers, strict=True)) for numbers in each]
        for row in found:
            row.update((name, None) for name in INNOVATIONS if math.isnan(row[name]))
        return cls(found, told.rows.shares)


def judged_row(
    lane: Lane, plan: DayPlan, hours_used: int, notes: Sequence[str], *, numbers: TellingNumbers, index: int
) -> dict[str, Any]:
    """Return the row of a judged day, one of many told; its forecast is still to be found."""
    row = _frame(lane, plan, hours_used) | dict.fromkeys(FORECAST) | numbers.columns[index]
    shares = numbers.shares[index]
    cause, share, ranked = verdict(shares)
    possible = ranked[:2] if cause is Cause.UNCLEAR else (cause,)
    row.update(
        cause=cause.value,
        cause_share=share,
        shares=shares.tolist(),
        note=_noted(lane, plan, verdict_words(cause, possible, lane.learned.curves), notes),
    )
    if not row["is_healthy_period"]:
        lane.trend.add(plan.date, row["slip_alone_pct"], row["drag_alone_pct"])
        lane.trend.ask(row, plan.limits, possible, can_slip=lane.can_slip)
    return row


def with_lost_hours(
    row: dict[str, Any], lost_hours: int, lost_kw: float | None, *, is_lost_at_end: bool
) -> dict[str, Any]:
    """Write into the row of a day in which the drive was lost slip and loss 100 for the hours it ran so.

    Those hours weigh by their number: a motor that turns nothing draws no energy to weigh them by. Excess
    power is that of the judged hours, at whose airflow and pressure it is told, else `lost_kw`.
    """
    if lost_hours == 0:
        return row
    used = row["hours_used"] if row["slip_pct"] is not None else 0
    share = lost_hours / (lost_hours + used)
    for name in ("slip", "slip_change", "drive_loss", "drive_loss_change"):
        for end in ("", "_low", "_high"):
            healthy_part = row[f"{name}{end}_pct"] or 0.0
            row[f"{name}{end}_pct"] = 100.0 * share + (1.0 - share) * healthy_part
    if not used:
        row["excess_kw"] = lost_kw
    if is_lost_at_end:
        row.update(slip_ref_pct=LOST_PCT, slip_ref_low_pct=LOST_PCT, slip_ref_high_pct=LOST_PCT)
    row.update(cause=Cause.DRIVE_LOST.value, cause_share=1.0)
    lost_note = f"drive lost for {lost_hours} h"
    row["note"] = f"{row['note']}; {lost_note}" if used and row["note"] else lost_note
    return row


def reason_not_judged(hours_used: int, visits: tuple[dt.time | None, ...], unread: Unread) -> str:
    """Say why a day is not judged.

    Parameters: `visits` of the day with their times, where they were logged; `unread` the readings for want
    of which hours did not count.
    """
    if None in visits:
        return f"{SERVICE_NOTE} without a time: log the time, and the hours after it count"
    hours = unread.words or f"{hours_used} steady hours in the fitted range"
    if visits:
        return f"{SERVICE_NOTE}: {hours} after it, {LEAST_HOURS_JUDGED} needed"
    return f"{hours}, {LEAST_HOURS_JUDGED} needed"


def _frame(lane: Lane, plan: DayPlan, hours_used: int) -> dict[str, Any]:
    return {
        "fan": lane.fan,
        "date": plan.date,
        "hours": plan.hours_running,
        "hours_used": hours_used,
        "is_healthy_period": is_inside(lane.learned.stretch, plan.date),
        "is_awaited": is_awaited(lane.learned.stretch, plan.date, plan.hours_steady),
        "last_reading": plan.last_reading,
        "digest": plan.digest,
        "state": None,
        "new_normal": None,
        "judged_on": lane.judged_on,
    }


def verdict_words(cause: Cause, possible: Sequence[Cause], curves: HealthyCurves | None) -> str:
    """Say what a day cannot tell apart, blank where it can; `possible` causes, the likelier first."""
    if cause is Cause.UNCLEAR:
        return "looks the same here: " + " or ".join(name.value for name in possible)
    # A verdict between these two at one speed rests on how often belts slip and wheels foul.
    is_custom = curves is not None and curves.is_at_one_speed and not curves.channels.has_wheel_speed
    return AT_ONE_SPEED_NOTE if cause in _ALIKE_AT_ONE_SPEED and is_custom else ""


def learned_words(normal: Normal) -> list[str]:
    """Say what work has changed that is not normal yet."""
    return [
        f"{words}: {change.days_left} judged days to go"
        for cause, words in _LEARNED_WORDS.items()
        if (change := normal.get(cause)) is not None and change.days_left
    ]


def _noted(lane: Lane, plan: DayPlan, note: str, notes: Sequence[str]) -> str:
    parts = [HEALTHY_NOTE] if is_inside(lane.learned.stretch, plan.date) else []
    parts += [note] if note else []
    parts += [RETROFIT_NOTE] if plan.is_retrofitted else []
    parts += [plan.unused] if plan.unused else []
    parts += notes
    # A day without curves has a reason of its own, which the points not used may have caused.
    return "; ".join(part for part in (*parts, lane.learned.sight.row_note) if part)


def hours_after(visits: tuple[dt.time | None, ...], local_hours: np.ndarray) -> np.ndarray:
    """Tell which of a day's hours, by their local hour, lie wholly after the last visit.

    Without a time of the visit no hour of the day can be told from before it.
    """
    is_after = np.ones(len(local_hours), dtype=bool)
    for visit in visits:
        if visit is None:
            return np.zeros(len(local_hours), dtype=bool)
        is_after &= local_hours >= visit.hour + 1
    return is_after
