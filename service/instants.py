"""How a date or a time that a person writes becomes an instant."""

import datetime as dt
from zoneinfo import ZoneInfo

_DATE_LENGTH = len("2025-01-31")


def instant_of(text: str, zone: ZoneInfo) -> dt.datetime:
    """Read a date (the last moment of that plant day) or a time (plant time unless it names its zone).

    Raises ValueError for anything that is not ISO 8601.
    """
    given = dt.datetime.fromisoformat(text.strip())
    if len(text.strip()) == _DATE_LENGTH:
        next_day = (given + dt.timedelta(days=1)).replace(tzinfo=zone)
        return next_day.astimezone(dt.UTC) - dt.timedelta(microseconds=1)
    return (given if given.tzinfo else given.replace(tzinfo=zone)).astimezone(dt.UTC)
