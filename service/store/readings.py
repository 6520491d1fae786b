"""The readings table: what each generation of it holds and how it is read."""

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from service.store.columns import FAN, MONTH, RANK_COLUMNS, READINGS_SCHEMA, TIME, TIME_TYPE, VALUE_COLUMNS
from service.store.delta import DeltaFolder, Sought, freely, of_fans
from service.store.resolution import resolve

# After the last time of a span there is surely nothing: the files' statistics know it to the millisecond.
PAST_SPAN: Final = dt.timedelta(milliseconds=2)
_MICROSECOND: Final = dt.timedelta(microseconds=1)
_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


class Readings:
    """One generation of the readings, as one Delta table."""

    def __init__(self, address: str, confirm: Callable[[], None] = freely) -> None:
        """Name the table by its local path or URL; `confirm` raises where this process may not write."""
        self.table = DeltaFolder(address, confirm)

    def raw(self, fans: Sequence[str], start_us: int, end_us: int, columns: Sequence[str]) -> pa.Table:
        """Return rows as they were appended, ranks included, for times in [start, end)."""
        wanted = [FAN, TIME, *columns, *RANK_COLUMNS]
        if not self._may_hold(fans, start_us, end_us):
            return _none(wanted)
        rows, _ = self.table.rows_of(_sought(fans, start_us, end_us))
        return rows.read(wanted)

    def read(
        self, fans: Sequence[str], start: dt.datetime, end: dt.datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Return one row a fan and time, resolved, sorted by both, for times in [start, end)."""
        wanted = VALUE_COLUMNS if columns is None else tuple(columns)
        return self.read_told(fans, start, end, wanted).reindex(columns=[FAN, TIME, *wanted])

    def read_told(
        self,
        fans: Sequence[str],
        start: dt.datetime,
        end: dt.datetime,
        columns: Sequence[str] = VALUE_COLUMNS,
    ) -> pd.DataFrame:
        """Return the same without the columns of which no row there says anything."""
        start_us, end_us = microseconds(start), microseconds(end)
        if not self._may_hold(fans, start_us, end_us):
            return resolve(_none([FAN, TIME, *columns]), columns)
        rows, telling = self.table.rows_of(_sought(fans, start_us, end_us))
        told = [name for name in columns if name in telling]
        return resolve(rows.read([FAN, TIME, *told]), told, lambda: rows.read(RANK_COLUMNS))

    def _may_hold(self, fans: Sequence[str], start_us: int, end_us: int) -> bool:
        return bool(fans) and start_us < end_us and self.table.exists()

    def compact(self, month: str) -> None:
        """Rewrite a month as the one row a fan and time that it resolves to.

        A row of several exports takes the lowest of their ranks: one too low is put right when a conflict
        asks, by the exports themselves. Nobody may append meanwhile.
        """
        wanted = [name for name in READINGS_SCHEMA.names if name != MONTH]
        rows = self.table.read(wanted, [month], pc.scalar(True))
        resolved = resolve(rows, VALUE_COLUMNS)
        ranks = rows.to_pandas()[[FAN, TIME, *RANK_COLUMNS]].sort_values([FAN, TIME, *RANK_COLUMNS])
        lowest = ranks.drop_duplicates([FAN, TIME]).reset_index(drop=True)
        whole = resolved.assign(**{name: lowest[name] for name in RANK_COLUMNS})
        schema = pa.schema([READINGS_SCHEMA.field(name) for name in wanted])
        table = with_month(pa.Table.from_pandas(whole[wanted], schema=schema, preserve_index=False))
        self.table.replace_month(table.cast(READINGS_SCHEMA), month)

    def span(self, fans: Sequence[str] | None = None) -> tuple[dt.datetime, dt.datetime] | None:
        """Return the first and last time of readings: of some fans, or of all to the millisecond below."""
        if not self.table.exists():
            return None
        if fans is None:
            return self._span_of_files()
        if not fans:
            return None
        times = self.table.read([TIME], None, of_fans(fans)).column(TIME)
        if len(times) == 0:
            return None
        ends = pc.min_max(times.cast(pa.int64())).as_py()
        return from_microseconds(ends["min"]), from_microseconds(ends["max"])

    def _span_of_files(self) -> tuple[dt.datetime, dt.datetime] | None:
        """Return the span that the files' own statistics give, so that no row is read."""
        first, last = self.table.ends_of_files(TIME)
        if first is None or last is None:
            return None
        ends = pa.array([first, last]).cast(TIME_TYPE).cast(pa.int64()).to_pylist()
        return from_microseconds(ends[0]), from_microseconds(ends[1])


def _sought(fans: Sequence[str], start_us: int, end_us: int) -> Sought:
    return Sought(fans, start_us, end_us, months_between(start_us, end_us))


def _none(columns: Sequence[str]) -> pa.Table:
    return pa.schema([READINGS_SCHEMA.field(name) for name in columns]).empty_table()


def with_month(rows: pa.Table) -> pa.Table:
    """Add the partition: the UTC month of each row's time."""
    return rows.append_column(
        READINGS_SCHEMA.field(MONTH), month_of(rows.column(TIME).cast(pa.int64()).to_numpy())
    )


def month_of(times_us: NDArray[np.int64]) -> pa.Array:
    """Return the UTC month of each time as text."""
    months = times_us.astype("datetime64[us]").astype("datetime64[M]")
    is_first = np.append(True, months[1:] != months[:-1])[: len(months)]  # of a run of one month
    names = pa.array([str(month) for month in months[is_first]], type=pa.string())
    places = np.cumsum(is_first, dtype=np.int32) - 1
    return pa.DictionaryArray.from_arrays(pa.array(places.astype(np.int32)), names).cast(pa.string())


def months_between(start_us: int, end_us: int) -> list[str]:
    """Return every UTC month that has a microsecond of [start, end)."""
    first = np.datetime64(start_us, "us").astype("datetime64[M]")
    last = np.datetime64(end_us - 1, "us").astype("datetime64[M]")
    return [str(month) for month in np.arange(first, last + 1)]


def microseconds(time: dt.datetime) -> int:
    """Return an aware time as whole microseconds since 1970, exactly."""
    if time.tzinfo is None:
        raise ValueError(f"a time without a zone names no instant: {time}")
    return (time - _EPOCH) // _MICROSECOND


def in_microseconds(times: "pd.Series[pd.Timestamp]") -> NDArray[np.int64]:
    """Return a column of UTC times as microseconds since 1970."""
    return times.dt.tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64)


def from_microseconds(time_us: int) -> dt.datetime:
    """Return microseconds since 1970 as a UTC time."""
    return _EPOCH + time_us * _MICROSECOND
