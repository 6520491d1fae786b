"""When a job is due: in plant time for what follows the day, counted in UTC for what follows the minutes."""

import datetime as dt
from dataclasses import dataclass
from typing import Final, Protocol
from zoneinfo import ZoneInfo

_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_DAY: Final = dt.timedelta(days=1)


class Plan(Protocol):
    """The instants at which a job is due; always in UTC, never by a clock of its own."""

    def last_until(self, instant: dt.datetime) -> dt.datetime:
        """Return the last instant it is due at, up to and with one."""

    def first_after(self, instant: dt.datetime) -> dt.datetime:
        """Return the first instant it is due at after one."""


@dataclass(frozen=True, slots=True)
class Every:
    """Due every so many minutes, counted from 1970: a restart does not move it."""

    minutes: float

    def last_until(self, instant: dt.datetime) -> dt.datetime:
        """Return the last instant up to and with one."""
        return _EPOCH + (instant - _EPOCH) // self._step * self._step

    def first_after(self, instant: dt.datetime) -> dt.datetime:
        """Return the first instant after one."""
        return self.last_until(instant) + self._step

    @property
    def _step(self) -> dt.timedelta:
        return dt.timedelta(minutes=self.minutes)


@dataclass(frozen=True, slots=True)
class OnDays:
    """Due at a time of day by the plant's clock, every day or on one weekday (Monday 0).

    Once a day on both days of the change: a time the clock shows twice is meant the first time; a time it
    jumps over comes as long after midnight as it would have without the jump (02:30 is then 03:30).
    """

    at: dt.time
    zone: ZoneInfo
    weekday: int | None = None

    def last_until(self, instant: dt.datetime) -> dt.datetime:
        """Return the last instant up to and with one."""
        date = instant.astimezone(self.zone).date() + _DAY
        while not self._is_on(date) or self._instant(date) > instant:
            date -= _DAY
        return self._instant(date)

    def first_after(self, instant: dt.datetime) -> dt.datetime:
        """Return the first instant after one."""
        date = instant.astimezone(self.zone).date() - _DAY
        while not self._is_on(date) or self._instant(date) <= instant:
            date += _DAY
        return self._instant(date)

    def _is_on(self, date: dt.date) -> bool:
        return self.weekday is None or date.weekday() == self.weekday

    def _instant(self, date: dt.date) -> dt.datetime:
        # fold 0: the first of two, and the offset from before a jump.
        return dt.datetime.combine(date, self.at, tzinfo=self.zone).astimezone(dt.UTC)
