"""As of when a round is planned: a plant day, or a quarter of the calendar."""

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final, Self

_QUARTER: Final = re.compile(r"(\d{4})-Q([1-4])")


class AsOfRefusedError(ValueError):
    """Nothing can be planned as of what was written; `option` is what to put right, as `quarter`."""

    def __init__(self, option: str, message: str, remedy: str) -> None:
        """Say which option to put right, what is wrong with it and what to write."""
        super().__init__(message)
        self.option = option
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Quarter:
    """A quarter of the calendar, 2025-Q3."""

    year: int
    number: int

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read it; raise AsOfRefusedError where it is none."""
        match = _QUARTER.fullmatch(text.strip())
        if match is None or not dt.MINYEAR <= int(match[1]) < dt.MAXYEAR:
            raise AsOfRefusedError("quarter", f"{text[:40]!r} is not a quarter", "write it as 2025-Q3")
        return cls(int(match[1]), int(match[2]))

    @property
    def first(self) -> dt.date:
        """Its first day."""
        return dt.date(self.year, 3 * self.number - 2, 1)

    @property
    def last(self) -> dt.date:
        """Its last day."""
        after = (
            dt.date(self.year + 1, 1, 1) if self.number == 4 else dt.date(self.year, 3 * self.number + 1, 1)
        )
        return after - dt.timedelta(days=1)

    def __str__(self) -> str:
        return f"{self.year}-Q{self.number}"


AsOf = dt.date | Quarter | None


def quarter_of(day: dt.date) -> Quarter:
    """Return the quarter in which a day lies."""
    return Quarter(day.year, (day.month + 2) // 3)


def read_as_of(date: str | None, quarter: str | None) -> AsOf:
    """Read a day or a quarter, None or blank where neither is asked for; raise AsOfRefusedError."""
    if date and quarter:
        raise AsOfRefusedError("date", "a day and a quarter name different rounds", "give one of them")
    if quarter:
        return Quarter.parse(quarter)
    try:
        return dt.date.fromisoformat(date) if date else None
    except ValueError:
        raise AsOfRefusedError(
            "date", f"{(date or '')[:40]!r} is not a date", "write it as 2025-09-30"
        ) from None
