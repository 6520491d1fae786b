"""Hourly operating points: a second, derived Delta table, so that nothing raw is read twice."""

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Final

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from service.store.columns import FAN, MONTH, TIME, TIME_TYPE
from service.store.delta import DeltaFolder, Sought, freely
from service.store.readings import microseconds, month_of, months_between
from service.store.resolution import told_once

REVISION: Final = "revision"


class Hours:
    """The table of hours; for each fan and hour the row of the highest revision holds.

    Its columns are those of the first frame written: `fan`, `time` (UTC, start of the hour) and whatever
    numbers and flags go with them. `replace` takes another set of columns.
    """

    def __init__(self, address: str, confirm: Callable[[], None] = freely) -> None:
        """Name the table by its local path or URL; `confirm` raises where this process may not write."""
        self._table = DeltaFolder(address, confirm, has_repeats=False)

    def append(self, frame: pd.DataFrame, revision: int) -> None:
        """Add hours, or newer versions of hours, as one commit."""
        if not frame.empty:
            self._table.append(_as_rows(frame.assign(**{REVISION: revision})), revision)

    def replace(self, frame: pd.DataFrame, revision: int) -> None:
        """Put hours in the place of all there are, with whatever columns they have."""
        self._table.overwrite(_as_rows(frame.assign(**{REVISION: revision})), revision)

    def clear(self) -> None:
        """Forget every hour and the columns too."""
        self._table.remove()

    def latest_revision(self) -> int:
        """Return the highest revision written, 0 where there is none."""
        return self._table.latest_marker()

    def columns(self) -> tuple[str, ...]:
        """Return the columns of the table, none before the first write."""
        if not self._table.exists():
            return ()
        return tuple(name for name in self._table.schema().names if name not in (MONTH, REVISION))

    def read(
        self,
        fans: Sequence[str],
        start: dt.datetime,
        end: dt.datetime,
        columns: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return the hours of some fans in [start, end), one row a fan and hour, sorted by both.

        Parameters: `columns` wanted beside fan and time, None for all; those the table lacks are left out.
        """
        if not self._table.exists():
            return pd.DataFrame({FAN: pd.Series(dtype="str"), TIME: pd.Series(dtype="datetime64[us, UTC]")})
        held = self.columns()
        wanted = held if columns is None else [name for name in held if name in {FAN, TIME, *columns}]
        start_us, end_us = microseconds(start), microseconds(end)
        if not fans or start_us >= end_us:
            rows = self._table.read([*wanted, REVISION], [], pc.scalar(False))
        else:
            sought = Sought(fans, start_us, end_us, months_between(start_us, end_us))
            rows = self._table.read_of(sought, [*wanted, REVISION])
        return _newest(rows).drop(columns=REVISION)

    def compact(self, keep_files: int) -> list[str]:
        """Rewrite the months that are spread over more files than some as the rows that hold; name them."""
        done = []
        for month, files in self._table.files_by_month().items():
            if files > keep_files:
                rows = self._table.read([*self.columns(), REVISION], [month], pc.scalar(True))
                self._table.replace_month(_as_rows(_newest(rows)), month)
                done.append(month)
        return done

    def vacuum(self, keep_hours: int) -> int:
        """Delete files that newer ones took the place of some hours ago; return how many."""
        return self._table.vacuum(keep_hours)


def _newest(rows: pa.Table) -> pd.DataFrame:
    alone = told_once(rows)
    if alone is not None:
        told: pd.DataFrame = alone.to_pandas()
        return told
    frame: pd.DataFrame = rows.to_pandas()
    newest_last = frame.sort_values([FAN, TIME, REVISION], kind="stable")
    return newest_last.drop_duplicates([FAN, TIME], keep="last", ignore_index=True)


def _as_rows(frame: pd.DataFrame) -> pa.Table:
    rows = pa.Table.from_pandas(frame, preserve_index=False).replace_schema_metadata(None)
    times = rows.column(TIME).cast(TIME_TYPE)
    rows = rows.set_column(rows.schema.get_field_index(TIME), TIME, times)
    fans = rows.column(FAN).cast(pa.string())
    rows = rows.set_column(rows.schema.get_field_index(FAN), FAN, fans)
    ordered = told_once(rows)
    if ordered is None:
        ordered = rows.sort_by([(FAN, "ascending"), (TIME, "ascending")])
    return ordered.append_column(MONTH, month_of(ordered.column(TIME).cast(pa.int64()).to_numpy()))
