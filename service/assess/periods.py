"""Which days are a fan's healthy period, and which stretch of its ledger do they serve?"""

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analytics.results_version import RESULTS_VERSION
from config.epoch import FanEpoch
from config.site import Baseline

_OPERATING_DAYS: Final = 30
_STEADY_HOURS: Final = 150
STEADY_HOURS_A_DAY: Final = 3


@dataclass(frozen=True, slots=True)
class IndexedDay:
    """A fan's plant day as the index of fan-days holds it."""

    date: dt.date
    digest: str
    hours_running: float
    hours_steady: int
    interval_s: float
    last_reading: dt.datetime
    is_proof_seen: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """A fan's ledger from one healthy period to the next.

    `first` and `last` of the healthy period, both included, None while it is not over; `begins` the date
    from which the stretch holds, None for ever; `reason` why there is no healthy period yet.
    """

    fan: str
    number: int
    epoch: FanEpoch
    begins: dt.date | None
    first: dt.date | None
    last: dt.date | None
    reason: str


def stretches(
    epochs: Sequence[FanEpoch], days: Sequence[IndexedDay], complete_to: dt.date
) -> tuple[Stretch, ...]:
    """Cut a fan's ledger into stretches.

    A later row of fans.csv opens a new stretch only when it names a healthy period of its own; until then
    change is reported against the first.

    Parameters: `epochs` in order; `days`, the fan's days in order; `complete_to` the last day over.
    """
    opening = _opening(epochs)
    return tuple(
        _stretch(epoch, number, epoch.valid_from if number else None, days, complete_to)
        for number, epoch in enumerate(opening)
    )


def stretch_at(epochs: Sequence[FanEpoch], date: dt.date) -> tuple[int, FanEpoch]:
    """Return the number of the stretch that holds a date, and the epoch that opened it."""
    opening = _opening(epochs)
    held = [number for number, epoch in enumerate(opening) if number == 0 or _is_from(epoch, date)]
    return held[-1], opening[held[-1]]


def _opening(epochs: Sequence[FanEpoch]) -> list[FanEpoch]:
    return [epochs[0], *(epoch for epoch in epochs[1:] if "baseline_from" in epoch.given)]


def _is_from(epoch: FanEpoch, date: dt.date) -> bool:
    return epoch.valid_from is not None and epoch.valid_from <= date


def _stretch(
    epoch: FanEpoch, number: int, begins: dt.date | None, days: Sequence[IndexedDay], complete_to: dt.date
) -> Stretch:
    if epoch.baseline is not None:
        return _declared(epoch, number, begins, epoch.baseline, complete_to)
    steady = [
        day
        for day in days
        if day.hours_steady >= STEADY_HOURS_A_DAY and (begins is None or day.date >= begins)
    ]
    hours = 0
    for count, day in enumerate(steady, start=1):
        hours += day.hours_steady
        if count >= _OPERATING_DAYS and hours >= _STEADY_HOURS:
            return Stretch(epoch.fan, number, epoch, begins, steady[0].date, day.date, "")
    reason = (
        f"the healthy period is not over: {len(steady)} of {_OPERATING_DAYS} days with "
        f"{STEADY_HOURS_A_DAY} steady hours, {hours} of {_STEADY_HOURS} hours"
    )
    return Stretch(epoch.fan, number, epoch, begins, None, None, reason)


def _declared(
    epoch: FanEpoch, number: int, begins: dt.date | None, baseline: Baseline, complete_to: dt.date
) -> Stretch:
    if complete_to < baseline.last:
        reason = f"the healthy period is not over: it ends on {baseline.last}"
        return Stretch(epoch.fan, number, epoch, begins, None, None, reason)
    return Stretch(epoch.fan, number, epoch, begins, baseline.first, baseline.last, "")


def curves_digest(stretch: Stretch, days: Sequence[IndexedDay]) -> str:
    """Return the digest of all that a stretch's healthy curves are made of."""
    digest = hashlib.sha256(f"{RESULTS_VERSION}|{stretch.first}|{stretch.last}|{stretch.reason}".encode())
    digest.update(repr(stretch.epoch.machine).encode())
    for day in days:
        if is_inside(stretch, day.date):
            digest.update(day.digest.encode())
    return digest.hexdigest()


def is_inside(stretch: Stretch, date: dt.date) -> bool:
    """Tell whether a date lies in a stretch's healthy period."""
    return stretch.first is not None and stretch.last is not None and stretch.first <= date <= stretch.last


def is_awaited(stretch: Stretch, date: dt.date, hours_steady: int) -> bool:
    """Tell whether a verdict on a day is due: not while the healthy period lies ahead or is gathered.

    Without a given one a day that adds nothing to it is due: a fan that is never steady must be told of.
    """
    if stretch.last is not None:
        return date > stretch.last
    return stretch.epoch.baseline is None and hours_steady < STEADY_HOURS_A_DAY
