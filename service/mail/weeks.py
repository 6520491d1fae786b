"""Weeks as ISO 8601 counts them, in plant time: Monday to Sunday, a week belongs to its Thursday's year."""

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final, Self
from zoneinfo import ZoneInfo

_WRITTEN: Final = re.compile(r"(\d{4})-?W(\d{1,2})", re.IGNORECASE)
_WEEK: Final = dt.timedelta(days=7)
# An export ends a little before midnight: its last reading stands for the interval it begins.
_INTERVAL: Final = dt.timedelta(hours=1)


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """One week; str() is 2025-W20."""

    year: int
    number: int

    def __post_init__(self) -> None:
        """Refuse a week that its year does not have."""
        dt.date.fromisocalendar(self.year, self.number, 1)

    @classmethod
    def of(cls, date: dt.date) -> Self:
        """Return the week a date lies in."""
        year, number, _ = date.isocalendar()
        return cls(year, number)

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a week as 2025-W20; raises ValueError for anything else and for a week there is not."""
        match = _WRITTEN.fullmatch(text.strip())
        if match is None:
            raise ValueError(f"{text!r} is not a week")
        return cls(int(match[1]), int(match[2]))

    def __str__(self) -> str:
        """Write the week."""
        return f"{self.year:04d}-W{self.number:02d}"

    @property
    def first(self) -> dt.date:
        """Its Monday."""
        return dt.date.fromisocalendar(self.year, self.number, 1)

    @property
    def last(self) -> dt.date:
        """Its Sunday."""
        return self.first + dt.timedelta(days=6)

    @property
    def before(self) -> "Week":
        """The week before it."""
        return Week.of(self.first - _WEEK)

    @property
    def after(self) -> "Week":
        """The week after it."""
        return Week.of(self.first + _WEEK)

    def ends(self, zone: ZoneInfo) -> dt.datetime:
        """Return the instant it is over: the midnight after its Sunday by the plant's clock, as UTC."""
        midnight = dt.datetime.combine(self.last + dt.timedelta(days=1), dt.time(), tzinfo=zone)
        return midnight.astimezone(dt.UTC)


def last_whole_week(last_reading: dt.datetime, zone: ZoneInfo) -> Week:
    """Return the last week that was over when the last reading was taken, never asking the clock."""
    today = (last_reading + _INTERVAL).astimezone(zone).date()
    return Week.of(today).before
