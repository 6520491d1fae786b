"""The tables of readings and of hours by their addresses: all that a process elsewhere needs to read them."""

import datetime as dt
from collections.abc import Sequence
from functools import cached_property

import pandas as pd

from service.store.hours import Hours
from service.store.readings import Readings


class TablesRead:
    """The readings that hold and the hours made of them, to read from; it may be sent to another process."""

    def __init__(self, readings_address: str, hours_address: str) -> None:
        """Name both by a local path or an object store's URL; nothing is opened yet."""
        self._addresses = (readings_address, hours_address)

    def __reduce__(self) -> tuple[type["TablesRead"], tuple[str, str]]:
        """Be sent as addresses: what is open here is not open there."""
        return TablesRead, self._addresses

    @cached_property
    def hours(self) -> Hours:
        """The table of hours."""
        return Hours(self._addresses[1])

    @cached_property
    def _readings(self) -> Readings:
        return Readings(self._addresses[0])

    def read_readings(
        self, fans: Sequence[str], start: dt.datetime, end: dt.datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Return the readings of some fans in [start, end): one row a fan and time, sorted by both.

        Read fans in batches: ten cost hardly more than one. The site's own points are the fan "".
        """
        return self._readings.read(fans, start, end, columns)

    def read_told(self, fans: Sequence[str], start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Return the same without the columns of which no reading there says anything: less to unpack."""
        return self._readings.read_told(fans, start, end)
