"""On which days was a fan changed, and which days around one are there to compare?"""

import datetime as dt
import itertools
from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import Work
from config.folder import SiteFolder
from service.retrofit.kinds import differences
from service.retrofit.periods import LEAST_DAYS, Period
from service.store.store import Store

# Four whole weeks: weekdays and weekends alike, and still one season; the proofs use as many days.
USUAL_DAYS: Final = 28
# A recheck of a new belt, or the motor a day after it, is one change.
_ONE_CHANGE: Final = 7
_NO_CHANGE: Final = (Work.INSPECTED, Work.SENSOR_CALIBRATED)
_DAY: Final = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Dividing:
    """A change of a fan, from its first to its last day, with what was done in words."""

    fan: str
    first: dt.date
    last: dt.date
    what: tuple[str, ...]


def dividing_days(site: SiteFolder, fan: str) -> tuple[Dividing, ...]:
    """Return a fan's changes by service log and fans.csv, the latest first; within a week they are one."""
    changes: list[Dividing] = []
    for date, what in sorted(_changed(site, fan), key=lambda one: one[0]):
        if changes and (date - changes[-1].last).days <= _ONE_CHANGE:
            one = changes.pop()
            changes.append(Dividing(fan, one.first, date, tuple(dict.fromkeys((*one.what, what)))))
        else:
            changes.append(Dividing(fan, date, date, (what,)))
    return tuple(reversed(changes))


def periods_around(site: SiteFolder, store: Store, change: Dividing) -> tuple[Period, Period] | None:
    """Return up to four weeks on either side of a change, ending at the next change or the last reading.

    None where fewer days than the least that can be judged lie on one side.
    """
    span = store.reading_span([change.fan])
    if span is None:
        return None
    earliest, latest = (moment.astimezone(site.site.zone).date() for moment in span)
    others = dividing_days(site, change.fan)
    earliest = max([earliest, *(one.last + _DAY for one in others if one.last < change.first)])
    latest = min([latest, *(one.first - _DAY for one in others if one.first > change.last)])
    usual = dt.timedelta(days=USUAL_DAYS)
    first, end = max(earliest, change.first - usual), min(latest, change.last + usual)
    least = dt.timedelta(days=LEAST_DAYS)
    if first + least > change.first or end - least < change.last:
        return None
    return Period(first, change.first - _DAY), Period(change.last + _DAY, end)


def _changed(site: SiteFolder, fan: str) -> list[tuple[dt.date, str]]:
    done = [
        (entry.date, entry.work.value.replace("_", " "))
        for entry in site.entries(fan)
        if entry.work not in _NO_CHANGE
    ]
    epochs = site.epochs(fan)
    for one, other in itertools.pairwise(epochs):
        date = other.valid_from
        if date is not None:
            done += [(date, what) for what in differences(one, other)]
    return done
