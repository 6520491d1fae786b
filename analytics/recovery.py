"""Did a service bring the drive back: whole, in part, or not?"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analytics.model import Parameter
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.service_effects import ended_by
from analytics.vocabulary import AlertKind, Role, Work

RUN_IN_DAYS: Final = 2
RECOVERY_DAYS: Final = 3
SECOND_VERDICT_DAYS: Final = 14
# What shows later than this after a visit is not the visit's doing.
FOLLOWED_DAYS: Final = 35
_BEFORE_DAYS: Final = 21
_WHOLE: Final = 0.5
_PART: Final = 0.25


class Recovery(StrEnum):
    """How a drive stands after work on it."""

    CAME_BACK = "came_back"
    IN_PART = "in_part"
    NOT = "not"
    TOO_EARLY = "too_early"
    NOTHING_WRONG = "nothing_wrong"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Recovered:
    """The verdict on a service and what it rests on.

    `before_pct` the most within three weeks before it; `after_pct` the mean of the last judged days after
    the run-in, None with too few; `judged_days` after the run-in; `is_second` when given again after a
    fortnight.
    """

    recovery: Recovery
    before_pct: float | None
    after_pct: float | None
    judged_days: int
    is_second: bool
    healthy_pct: float

    @property
    def share_gone(self) -> float:
        """How much of what was too much is gone."""
        if self.before_pct is None or self.after_pct is None:
            return 0.0
        return (self.before_pct - self.after_pct) / max(self.before_pct - self.healthy_pct, 1e-9)


def measured_by(work: Work, role: Role | None, *, can_slip: bool) -> AlertKind | None:
    """Return which of the drive's two measures a piece of work should bring down, None for neither."""
    ended = ended_by(work, role)
    if Parameter.SLIP in ended and can_slip and work is not Work.RETROFIT:
        return AlertKind.BELT_SLIP
    return AlertKind.DRIVE_LOSS if Parameter.DRAG in ended else None


def healthy_of(kind: AlertKind) -> float:
    """Return what a healthy drive shows of a measure at the reference torque [%]."""
    return HEALTHY_SLIP_PCT[0] if kind is AlertKind.BELT_SLIP else 0.0


def recovery(
    counted: Sequence[tuple[dt.date, float]],
    service: dt.date,
    watch_pct: float,
    healthy_pct: float,
    next_service: dt.date | None = None,
) -> Recovered:
    """Judge a service by the judged days around it.

    Days 1 and 2 after it are run-in; the first verdict needs three judged days after them and is given
    again at fourteen.

    Parameters: `counted`, judged days in order with the measure at the reference torque [%], none of them
    after the day the verdict is of; `service`, its date; `next_service` after which days tell of other work.
    Returns: `Recovered`.
    """
    last = dt.timedelta(days=FOLLOWED_DAYS)
    held = [
        (date, value)
        for date, value in counted
        if date - service <= last and (next_service is None or date < next_service)
    ]
    since = service - dt.timedelta(days=_BEFORE_DAYS)
    before = max((value for date, value in held if since <= date < service), default=None)
    after = [(date, value) for date, value in held if (date - service).days > RUN_IN_DAYS]
    is_second = bool(after) and (after[-1][0] - service).days >= SECOND_VERDICT_DAYS
    latest = [value for _, value in after[-RECOVERY_DAYS:]]
    mean = sum(latest) / len(latest) if len(latest) == RECOVERY_DAYS else None

    def told(found: Recovery) -> Recovered:
        return Recovered(found, before, mean, len(after), is_second, healthy_pct)

    if before is None:
        return told(Recovery.UNKNOWN)
    if before < watch_pct:
        return told(Recovery.NOTHING_WRONG)
    if mean is None:
        return told(Recovery.TOO_EARLY)
    if has_recovered(held, service, before, watch_pct, healthy_pct):
        return told(Recovery.CAME_BACK)
    is_part = (before - mean) / max(before - healthy_pct, 1e-9) >= _PART
    return told(Recovery.IN_PART if is_part else Recovery.NOT)


def has_recovered(
    counted: Sequence[tuple[dt.date, float]],
    service: dt.date,
    before: float,
    watch_pct: float,
    healthy_pct: float,
) -> bool:
    """Tell whether a service shows in the data.

    The first two days are run-in; then three judged days must lie below the watch limit with at least
    half of what was too much gone.
    """
    after = [value for date, value in counted if (date - service).days > RUN_IN_DAYS]
    if len(after) < RECOVERY_DAYS:
        return False
    goal = before - _WHOLE * (before - healthy_pct)
    return all(value < watch_pct and value <= goal for value in after[-RECOVERY_DAYS:])
