"""What was done to a fan, and whether the readings agree that it worked."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analytics.episodes import RECOVERY_DAYS, RUN_IN_DAYS, has_recovered
from analytics.machine import Limits
from analytics.model import Parameter
from analytics.service_effects import ended_by
from analytics.vocabulary import Work
from config.service_log import ServiceEntry
from service.web.paper import one_decimal

_HEALTHY_SLIP_PCT: Final = 1.0


class Outcome(StrEnum):
    """What the readings say of a visit."""

    WORKED = "worked"
    FAILED = "did not work"
    EARLY = "too early to say"
    NO_NEED = "nothing was past its limit"
    NOT_SEEN = "not seen in these numbers"


@dataclass(frozen=True, slots=True)
class JudgedDay:
    """A judged day of the ledger: slip and drag at the reference torque."""

    date: dt.date
    slip_ref_pct: float
    drag_ref_pct: float


@dataclass(frozen=True, slots=True)
class ServiceDone:
    """A service entry with its verdict in words."""

    entry: ServiceEntry
    outcome: Outcome
    words: str

    @property
    def work(self) -> str:
        """What was done, in words."""
        return words_of(self.entry.work)


def words_of(work: Work) -> str:
    """Return a kind of work as words."""
    return work.value.replace("_", " ")


def service_done(entry: ServiceEntry, days: Sequence[JudgedDay], limits: Limits) -> ServiceDone:
    """Judge a visit by the judged days around it, in order of date."""
    ended = ended_by(entry.work, entry.role)
    if Parameter.SLIP in ended and Parameter.DRAG not in ended:
        series = [(day.date, day.slip_ref_pct) for day in days]
        return _judged(entry, "slip", series, limits.slip_watch_pct, _HEALTHY_SLIP_PCT)
    if Parameter.DRAG in ended:
        series = [(day.date, day.drag_ref_pct) for day in days]
        return _judged(entry, "drive loss rise", series, limits.drive_loss_rise_watch_pct, 0.0)
    return ServiceDone(entry, Outcome.NOT_SEEN, "")


def _judged(
    entry: ServiceEntry, what: str, series: Sequence[tuple[dt.date, float]], watch: float, healthy: float
) -> ServiceDone:
    before = [value for date, value in series if date < entry.date]
    after = [value for date, value in series if (date - entry.date).days > RUN_IN_DAYS]
    if not before:
        # Before the first judged day there is nothing to hold it against.
        return ServiceDone(entry, Outcome.NOT_SEEN, "")
    if before[-1] <= watch:
        words = f"{what} was {one_decimal(before[-1])} %, under its limit"
        return ServiceDone(entry, Outcome.NO_NEED, words)
    if len(after) < RECOVERY_DAYS:
        words = f"{len(after)} of {RECOVERY_DAYS} judged days after the run-in"
        return ServiceDone(entry, Outcome.EARLY, words)
    words = f"{what} {one_decimal(before[-1])} % before, {one_decimal(after[-1])} % now"
    worked = _ever_recovered(series, entry.date, before[-1], watch, healthy)
    return ServiceDone(entry, Outcome.WORKED if worked else Outcome.FAILED, words)


def _ever_recovered(
    series: Sequence[tuple[dt.date, float]], date: dt.date, before: float, watch: float, healthy: float
) -> bool:
    """Tell whether the numbers came down after the visit, whatever they did later."""
    after = [day for day, _ in series if (day - date).days > RUN_IN_DAYS]
    # Ten judged days are as many as the alerts take to believe in quiet without a visit.
    for last in after[RECOVERY_DAYS - 1 : RECOVERY_DAYS + 9]:
        until = [(day, value) for day, value in series if day <= last]
        if has_recovered(until, date, before, watch, healthy):
            return True
    return False
