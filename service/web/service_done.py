"""What was done to a fan, and whether the readings of the weeks after it agree that it worked."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analytics.episodes import RECOVERY_DAYS, RUN_IN_DAYS, has_recovered
from analytics.machine import Limits
from analytics.model import Parameter
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.service_effects import ended_by
from analytics.vocabulary import Work
from config.service_log import ServiceEntry
from service.web.paper import one_decimal

_BEFORE: Final = dt.timedelta(days=21)
# What shows later than this after a visit is not the visit's doing.
_FOLLOWED: Final = dt.timedelta(days=35)
_PART: Final = 0.25


@dataclass(frozen=True, slots=True)
class JudgedDay:
    """A judged day of the ledger: slip and drag at the reference torque."""

    date: dt.date
    slip_ref_pct: float
    drag_ref_pct: float
    is_healthy_period: bool


@dataclass(frozen=True, slots=True)
class ServiceDone:
    """A service entry with its verdict and what that rests on, in words; blank where nothing shows it."""

    entry: ServiceEntry
    verdict: str
    words: str

    @property
    def work(self) -> str:
        """What was done, in words."""
        return words_of(self.entry.work)


def words_of(work: Work) -> str:
    """Return a kind of work as words."""
    return work.value.replace("_", " ")


def service_done(
    entry: ServiceEntry, days: Sequence[JudgedDay], limits: Limits, *, can_slip: bool
) -> ServiceDone:
    """Judge a visit by the judged days around it, in order of date."""
    ended = ended_by(entry.work, entry.role)
    counted = [day for day in days if not day.is_healthy_period and day.date - entry.date <= _FOLLOWED]
    if Parameter.SLIP in ended and can_slip and entry.work is not Work.RETROFIT:
        series = [(day.date, day.slip_ref_pct) for day in counted]
        verdict = _judged(entry.date, "slip", series, limits.slip_watch_pct, HEALTHY_SLIP_PCT[0])
    elif Parameter.DRAG in ended:
        series = [(day.date, day.drag_ref_pct) for day in counted]
        verdict = _judged(entry.date, "drive loss rise", series, limits.drive_loss_rise_watch_pct, 0.0)
    else:
        verdict = "", ""
    return ServiceDone(entry, *verdict)


def _judged(
    date: dt.date, what: str, series: Sequence[tuple[dt.date, float]], watch: float, healthy: float
) -> tuple[str, str]:
    before = max((value for day, value in series if date - _BEFORE <= day < date), default=None)
    after = [value for day, value in series if (day - date).days > RUN_IN_DAYS]
    if before is None:
        # Nothing to hold it against.
        return "", ""
    was = f"{what} {one_decimal(before)} % before"
    if before < watch:
        return "nothing had to be put right", f"{was}, under its limit"
    if len(after) < RECOVERY_DAYS:
        return "too early to say", f"{was}; {len(after)} of {RECOVERY_DAYS} judged days after the run-in"
    mean = sum(after[-RECOVERY_DAYS:]) / RECOVERY_DAYS
    told = f"{was}, {one_decimal(mean)} % after"
    if has_recovered(series, date, before, watch, healthy):
        return "put right, and the data agree", told
    is_part = (before - mean) / (before - healthy) >= _PART
    return ("better in part" if is_part else "no better by the data"), told
