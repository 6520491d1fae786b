"""The two periods a change is judged by: how they are written, and which are refused before any reading."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from config.folder import SiteFolder
from service.store.store import Store

LEAST_DAYS: Final = 7
_DAY: Final = dt.timedelta(days=1)


class RetrofitRefusedError(ValueError):
    """A retrofit cannot be judged as asked; `option` is what to put right, as `before`."""

    def __init__(self, option: str, message: str) -> None:
        """Say which option to put right, and how."""
        super().__init__(message)
        self.option = option


@dataclass(frozen=True, slots=True)
class Period:
    """Plant days, both included."""

    first: dt.date
    last: dt.date

    @property
    def days(self) -> int:
        """How many days it holds."""
        return (self.last - self.first).days + 1

    def holds(self, date: dt.date) -> bool:
        """Tell whether a date lies in it."""
        return self.first <= date <= self.last

    def __str__(self) -> str:
        """Write it as it is given."""
        return f"{self.first}..{self.last}"


def read_period(text: str, option: str) -> Period:
    """Read two dates with two dots between them."""
    parts = text.split("..")
    try:
        first, last = (dt.date.fromisoformat(part.strip()) for part in parts)
    except ValueError:
        remedy = "write two dates, both included, as 2025-03-01..2025-03-31"
        raise RetrofitRefusedError(option, f"{text[:40]!r} is no period; {remedy}") from None
    if last < first:
        raise RetrofitRefusedError(option, f"{text} ends before it begins; exchange the dates")
    found = Period(first, last)
    if found.days < LEAST_DAYS:
        raise RetrofitRefusedError(
            option,
            f"{text} holds {found.days} days; {LEAST_DAYS} are the least: weekdays and weekends differ",
        )
    return found


def refuse_unfit(before: Period, after: Period) -> None:
    """Refuse periods that overlap or stand in the wrong order."""
    if after.first > before.last:
        return
    if after.last < before.first:
        raise RetrofitRefusedError(
            "after", f"{after} lies before the time before, {before}; exchange the two, or correct the dates"
        )
    shared = max(before.first, after.first)
    raise RetrofitRefusedError(
        "after", f"{after} and {before} share {shared}; leave the days of the change out of both"
    )


def refuse_outside(site: SiteFolder, store: Store, fan: str, before: Period, after: Period) -> None:
    """Refuse a period of which the fan has no reading at all."""
    span = store.reading_span([fan])
    if span is None:
        raise RetrofitRefusedError("fan", f"{fan} has no readings yet; pull its exports and assess first")
    first, last = (moment.astimezone(site.site.zone).date() for moment in span)
    for option, period in (("before", before), ("after", after)):
        if period.last < first or period.first > last:
            raise RetrofitRefusedError(
                option, f"{period} lies outside the readings of {fan}, which are from {first} to {last}"
            )


def run_in_days(period: Period, fitted: dict[dt.date, int]) -> set[dt.date]:
    """Return the days of a period in which a belt runs in: `fitted`, how many from each date on."""
    return {
        date + k * _DAY for date, days in fitted.items() for k in range(days) if period.holds(date + k * _DAY)
    }
