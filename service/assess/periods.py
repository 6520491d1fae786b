"""Which days are a fan's healthy period, and which stretch of its ledger do they serve?"""

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analytics.results_version import RESULTS_VERSION
from analytics.vocabulary import Work
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from config.site import Baseline

_OPERATING_DAYS: Final = 30
_STEADY_HOURS: Final = 150
# A new wheel's readings are waited for, not gathered over a season.
_NEW_WHEEL_DAYS: Final = 10
_NEW_WHEEL_HOURS: Final = 60
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


@dataclass(frozen=True, slots=True)
class _Opening:
    """What begins a stretch: a row of fans.csv, or a new wheel under the row in force."""

    begins: dt.date
    epoch: FanEpoch
    is_new_wheel: bool = False


def stretches(
    epochs: Sequence[FanEpoch],
    days: Sequence[IndexedDay],
    complete_to: dt.date,
    new_wheels: Sequence[dt.date] = (),
) -> tuple[Stretch, ...]:
    """Cut a fan's ledger into stretches.

    A later row of fans.csv opens a new stretch only when it names a healthy period of its own; until then
    change is reported against the first. A new wheel has curves of its own and opens one on its own.

    Parameters: `epochs` in order; `days`, the fan's days in order; `complete_to` the last day over;
    `new_wheels`, the dates of the log.
    """
    found = _openings(epochs, [date for date in new_wheels if date <= complete_to])
    ends = [*(opening.begins for opening in found[1:]), dt.date.max]
    return tuple(
        _stretch(opening, number, [day for day in days if day.date < end], complete_to)
        for number, (opening, end) in enumerate(zip(found, ends, strict=True))
    )


def known_stretches(
    epochs: Sequence[FanEpoch],
    healthy: Sequence[tuple[dt.date | None, dt.date | None]],
    new_wheels: Sequence[dt.date],
) -> tuple[Stretch, ...]:
    """Return a fan's stretches where all their healthy periods are known; none where their number differs.

    Parameters: `epochs` in order; `healthy`, the first and last date of each stretch's; `new_wheels`.
    """
    found = _openings(epochs, new_wheels)
    if len(found) != len(healthy):
        return ()
    return tuple(
        Stretch(opening.epoch.fan, number, opening.epoch, opening.begins if number else None, first, last, "")
        for number, (opening, (first, last)) in enumerate(zip(found, healthy, strict=True))
    )


def stretch_at(
    epochs: Sequence[FanEpoch], date: dt.date, new_wheels: Sequence[dt.date] = ()
) -> tuple[int, FanEpoch]:
    """Return the number of the stretch that holds a date, and the epoch that opened it."""
    found = _openings(epochs, new_wheels)
    held = [number for number, opening in enumerate(found) if number == 0 or opening.begins <= date]
    return held[-1], found[held[-1]].epoch


def new_wheels(service: Sequence[ServiceEntry], fan: str) -> list[dt.date]:
    """Return the dates on which a fan was given a new wheel."""
    return [entry.date for entry in service if entry.fan == fan and entry.work is Work.WHEEL_REPLACED]


def _openings(epochs: Sequence[FanEpoch], new_wheels: Sequence[dt.date]) -> list[_Opening]:
    declared = [_Opening(epoch.valid_from or dt.date.min, epoch) for epoch in epochs]
    # The first holds for ever back.
    first = _Opening(dt.date.min, epochs[0])
    found = [first, *(one for one in declared[1:] if "baseline_from" in one.epoch.given)]
    for date in sorted(set(new_wheels)):
        before = [one for one in found if one.begins <= date][-1].epoch.baseline
        # A healthy period that was given and ends later is of the new wheel, as far as anyone has said.
        if before is None or before.last < date:
            in_force = [one for one in declared if one.begins <= date] or declared[:1]
            epoch = in_force[-1].epoch.model_copy(update={"baseline": None})
            found = sorted([*found, _Opening(date, epoch, is_new_wheel=True)], key=lambda one: one.begins)
    return found


def _stretch(opening: _Opening, number: int, days: Sequence[IndexedDay], complete_to: dt.date) -> Stretch:
    epoch, begins = opening.epoch, opening.begins if number else None
    if epoch.baseline is not None:
        return _declared(epoch, number, begins, epoch.baseline, complete_to)
    steady = [day for day in days if day.hours_steady >= STEADY_HOURS_A_DAY and _counts(opening, day.date)]
    needed_days = _NEW_WHEEL_DAYS if opening.is_new_wheel else _OPERATING_DAYS
    needed_hours = _NEW_WHEEL_HOURS if opening.is_new_wheel else _STEADY_HOURS
    hours = 0
    for count, day in enumerate(steady, start=1):
        hours += day.hours_steady
        if count >= needed_days and hours >= needed_hours:
            return Stretch(epoch.fan, number, epoch, begins, steady[0].date, day.date, "")
    of_what = f"new wheel of {begins}, its" if opening.is_new_wheel else "the"
    reason = (
        f"{of_what} healthy period is not over: {len(steady)} of {needed_days} days with "
        f"{STEADY_HOURS_A_DAY} steady hours, {hours} of {needed_hours} hours"
    )
    return Stretch(epoch.fan, number, epoch, begins, None, None, reason)


def _counts(opening: _Opening, date: dt.date) -> bool:
    # The day of the visit holds both wheels.
    return date > opening.begins if opening.is_new_wheel else date >= opening.begins


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
