"""How a date or a time that a person writes becomes an instant."""

import datetime as dt
from zoneinfo import ZoneInfo

_DATE_LENGTH = len("2025-01-31")
BEFORE_US = 1
"""How long before its stamp a reading of an interval that ends there counts [us]."""


def instant_of(text: str, zone: ZoneInfo) -> dt.datetime:
    """Read a date (the last moment of that plant day) or a time (plant time unless it names its zone).

    Raises ValueError for anything that is not ISO 8601.
    """
    given = dt.datetime.fromisoformat(text.strip())
    if len(text.strip()) == _DATE_LENGTH:
        next_day = (given + dt.timedelta(days=1)).replace(tzinfo=zone)
        return next_day.astimezone(dt.UTC) - dt.timedelta(microseconds=1)
    return (given if given.tzinfo else given.replace(tzinfo=zone)).astimezone(dt.UTC)


def stamp_of(time: dt.datetime) -> dt.datetime:
    """Return the stamp that a reading's export gave it: its interval's end, where it counts just before."""
    stamp = time + dt.timedelta(microseconds=BEFORE_US)
    return time if stamp.microsecond else stamp
