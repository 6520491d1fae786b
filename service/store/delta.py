"""One Delta table in one folder: appended with a marker, made durable, read by month."""

import json
import shutil
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote

import fsspec
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.dataset as pads
from deltalake import (
    ColumnProperties,
    CommitProperties,
    DeltaTable,
    Transaction,
    WriterProperties,
    write_deltalake,
)
from deltalake.exceptions import DeltaError

from service.store.columns import FAN, MONTH, TIME, TIME_TYPE
from service.store.durable import make_folder, sync_files_and_folders, sync_folder
from service.store.row_groups import Places, filesystem_of, path_of, row_groups_of

APPLICATION: Final = "slipledger"
_ROW_GROUP_ROWS: Final = 1 << 14  # about a fan and month at 5 minutes: what is not asked for is skipped
_BATCHES_AHEAD: Final = 4
_FILES_AHEAD: Final = 4
_LOG: Final = "_delta_log"
# A listed file with the row groups of it to read, None for all.
Part = tuple[str, Places | None]
_write_rows: Final[Callable[..., None]] = write_deltalake  # its overloads refuse a mapping of options
_CONFIGURATION: Final = {"delta.dataSkippingStatsColumns": f"{FAN},{TIME}"}


def of_fans(fans: Sequence[str]) -> pc.Expression:
    """Return the condition that a row is of one of some fans, at least one."""
    # Of a long list alone the readers of files make no use to skip what lies outside of it.
    is_between = (pc.field(FAN) >= min(fans)) & (pc.field(FAN) <= max(fans))
    return is_between & pc.field(FAN).isin(pa.array(list(fans), pa.string()))


@dataclass(frozen=True, slots=True)
class Sought:
    """Rows of some fans, at least one, with times in [start, end) [us since 1970] of some UTC months."""

    fans: Sequence[str]
    start_us: int
    end_us: int
    months: Sequence[str]

    @property
    def condition(self) -> pc.Expression:
        """The condition that a row is one of them."""
        is_late_enough = pc.field(TIME) >= pa.scalar(self.start_us, TIME_TYPE)
        return of_fans(self.fans) & is_late_enough & (pc.field(TIME) < pa.scalar(self.end_us, TIME_TYPE))

    @property
    def condition_of_files(self) -> str:
        """The condition that a file may hold one, in SQL."""
        months = ", ".join(_quoted(month) for month in self.months)
        first, last = _quoted(min(self.fans)), _quoted(max(self.fans))
        return f"{MONTH} IN ({months}) AND {FAN} >= {first} AND {FAN} <= {last}"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def freely() -> None:
    """Let anyone commit: of a table that nobody else writes to."""


class DeltaFolder:
    """A Delta table partitioned by month, each file of it sorted by fan and time.

    One process writes to it at a time, and `confirm` raises in every other one. It is asked when a write
    begins and again when its last row is written, just before the commit. Every commit is prepared on the
    version of before the first question and carries a marker: Delta refuses it if another commit with a
    marker came in between. So a process that slept through the loss of its lease commits nothing after
    whoever has it now has committed, or has called `is_in_for_good`.
    """

    def __init__(
        self, address: str, confirm: Callable[[], None] = freely, *, has_repeats: bool = True
    ) -> None:
        """Name the table by a local path or an object store's URL; nothing is opened yet.

        `has_repeats` where its numbers are read off sensors, which show the same few again and again; means
        of them seldom do, and to look for it takes longer than to write them.
        """
        self.address = address
        self._has_repeats = has_repeats
        self._confirm = confirm
        self._is_local = "://" not in address
        self._table: DeltaTable | None = None

    def append(self, data: pa.Table | pa.RecordBatchReader, marker: int) -> None:
        """Write rows in one commit that carries the marker; durable when this returns.

        Rows that are made as they are read are written so: never all in memory.
        """
        self._write(data, marker, mode="append")

    def overwrite(self, data: pa.Table, marker: int) -> None:
        """Put rows, and their columns, in the place of all that was there; durable when this returns."""
        self._write(data, marker, mode="overwrite", schema_mode="overwrite")

    def replace_month(self, data: pa.Table, month: str) -> None:
        """Put rows in the place of a month's, in one commit; readers of before keep the files they had."""
        where = f"{MONTH} = '{month}'"
        self._write(data, self.latest_marker(), mode="overwrite", predicate=where)

    def _write(self, data: pa.Table | pa.RecordBatchReader, marker: int, **how: Any) -> None:
        reader = data.to_reader() if isinstance(data, pa.Table) else data
        try:
            if not self.exists():
                self._begin(reader.schema)
            table = self._opened()
            before = table.version()
            self._confirm()
            _write_rows(
                table,
                self._confirmed_at_its_end(reader),
                partition_by=[MONTH],
                commit_properties=_marked(marker),
                writer_properties=_writer_properties(self._has_repeats),
                **how,
            )
        except DeltaError as error:
            self._confirm()  # of a lost lease that is said, and not what came of it
            if type(error) is not DeltaError:
                raise
            # A disk that fills while a file is being closed comes as a fault of that file.
            raise OSError(f"{self.address} could not be written: {error}") from error
        self._make_durable(before)

    def _confirmed_at_its_end(self, reader: pa.RecordBatchReader) -> pa.RecordBatchReader:
        def batches() -> Iterator[pa.RecordBatch]:
            yield from reader
            self._confirm()

        return pa.RecordBatchReader.from_batches(reader.schema, batches())

    def is_in_for_good(self, marker: int, schema: pa.Schema) -> bool:
        """Tell whether a commit with this marker, or a later one, is in the log; durable when it is.

        Where it is not, whoever began it can no longer make it: an empty commit stands in its way. `schema`
        the columns of a table that is not there yet.
        """
        if self.has_marker(marker):
            self._make_durable(self._opened().version() - 1)  # who wrote it may have been stopped before
            return True
        try:
            if self._table is None:
                self._begin(schema)
            else:
                self._stand_in_the_way(self._table)  # as it was when the marker was not there
        except DeltaError:  # something was committed between the two
            if not self.has_marker(marker):
                raise
            return True
        return False

    def _stand_in_the_way(self, table: DeltaTable) -> None:
        before = table.version()
        table.create_write_transaction(
            [],
            mode="append",
            schema=table.schema(),
            partition_by=[MONTH],
            commit_properties=_marked(table.transaction_version(APPLICATION) or 0),
        )
        self._make_durable(before)

    def _begin(self, schema: pa.Schema) -> None:
        if self._is_local:
            make_folder(Path(self.address))
        DeltaTable.create(
            self.address,
            schema=schema,
            mode="error",
            partition_by=[MONTH],
            configuration=_CONFIGURATION,
            commit_properties=_marked(0),
        )
        self._make_durable(-1)

    def files_by_month(self) -> dict[str, int]:
        """Return how many files each month is spread over."""
        if not self.exists():
            return {}
        months = pa.table(self._opened().get_add_actions(flatten=True)).column(f"partition.{MONTH}")
        return dict(sorted(Counter(months.to_pylist()).items()))

    def bytes_of_files(self) -> int:
        """Return the size of the files that hold the rows as they are now, without those replaced."""
        if not self.exists():
            return 0
        sizes = pa.table(self._opened().get_add_actions(flatten=True)).column("size_bytes")
        return int(pc.sum(sizes).as_py() or 0)

    def has_marker(self, marker: int) -> bool:
        """Tell whether a commit with this marker, or a later one, is in the log."""
        if not self.exists():
            return False
        latest = self._opened().transaction_version(APPLICATION)
        return latest is not None and latest >= marker

    def latest_marker(self) -> int:
        """Return the greatest marker in the log, or 0."""
        return (self._opened().transaction_version(APPLICATION) or 0) if self.exists() else 0

    def exists(self) -> bool:
        """Tell whether anything was ever committed."""
        if self._table is not None:
            return True
        if self._is_local and not (Path(self.address) / _LOG).is_dir():
            return False
        return DeltaTable.is_deltatable(self.address)

    def schema(self) -> pa.Schema:
        """Return the columns of the table."""
        return pa.schema(self._opened().schema().to_arrow())

    def read(self, columns: Sequence[str], months: Sequence[str] | None, where: pc.Expression) -> pa.Table:
        """Return the rows of some months for which a condition holds, as they were written."""
        filters = None if months is None else [(MONTH, "in", list(months))]
        has_no_month = months is not None and not months
        table = self._opened()
        files = [] if has_no_month else table.file_uris(file_pruning_predicate=filters)
        return self._held([(file, None) for file in files], where).read(columns)

    def read_of(self, sought: Sought, columns: Sequence[str]) -> pa.Table:
        """Return the rows of some fans and times, as they were written."""
        files = self._opened().file_uris(file_pruning_predicate=sought.condition_of_files)
        return self._held([(file, None) for file in files], sought.condition).read(columns)

    def rows_of(self, sought: Sought) -> tuple["RowsHeld", list[str]]:
        """Return the rows of some fans and times as they are now, none of them read yet, and what they tell.

        That is the columns in which any of the rows may say something, by the files' own statistics. For
        files of many row groups, whose footers take long to read.
        """
        files = self._opened().file_uris(file_pruning_predicate=sought.condition_of_files)
        parts, told = [], dict[str, None]()
        for file in files:
            groups = row_groups_of(file)
            places = groups.that_may_hold(sought.fans, sought.start_us, sought.end_us)
            if len(places):
                parts.append((file, places))
                told.update(dict.fromkeys(groups.told(places)))
        return self._held(parts, sought.condition), [*told]

    def _held(self, parts: Sequence[Part], where: pc.Expression) -> "RowsHeld":
        """Return rows of files, of some of their row groups or of all."""
        schema = pa.schema([field for field in self.schema() if field.name != MONTH])
        return RowsHeld(parts, schema, where, self.address)

    def ends_of_files(self, column: str) -> tuple[Any, Any]:
        """Return the least and the greatest value of a column by the files' statistics; None of no rows."""
        files = pa.table(self._opened().get_add_actions(flatten=True))
        return pc.min(files.column(f"min.{column}")).as_py(), pc.max(files.column(f"max.{column}")).as_py()

    def vacuum(self, keep_hours: int) -> int:
        """Delete files that newer ones took the place of some hours ago; return how many."""
        if not self.exists():
            return 0
        return len(self._opened().vacuum(keep_hours, dry_run=False, enforce_retention_duration=False))

    def remove(self) -> None:
        """Delete the table with everything in it."""
        self._confirm()
        self._table = None
        if self._is_local:
            shutil.rmtree(self.address, ignore_errors=True)
            return
        filesystem, path = fsspec.core.url_to_fs(self.address)
        if filesystem.exists(path):
            filesystem.rm(path, recursive=True)

    def _opened(self) -> DeltaTable:
        if self._table is None:
            self._table = DeltaTable(self.address)
        else:
            self._table.update_incremental()
        return self._table

    def _make_durable(self, version_before: int) -> None:
        """Flush what the commits after a version added: the writer itself never does.

        The commits come last, so that no power cut leaves one whose files are not whole.
        """
        if not self._is_local:
            return
        root = Path(self.address)
        log = root / _LOG
        commits = [
            log / f"{version:020d}.json"
            for version in range(version_before + 1, self._opened().version() + 1)
        ]
        sync_files_and_folders(root / path for commit in commits for path in _added(commit.read_text()))
        sync_folder(root)
        sync_folder(root.parent)
        sync_files_and_folders(commits)


class RowsHeld:
    """Rows of one version of a table, read in one order however often."""

    def __init__(
        self,
        parts: Sequence[Part],
        schema: pa.Schema,
        where: pc.Expression,
        address: str,
    ) -> None:
        """Take the parts to read and the condition for rows.

        Parameters: `schema` of the files; `address` of the table.
        """
        self._parts, self._schema, self._where = parts, schema, where
        self._filesystem, self._is_local = filesystem_of(address), "://" not in address

    def read(self, columns: Sequence[str]) -> pa.Table:
        """Return some columns of the rows; of what is read, little more than the rows is held at a time."""
        if not self._is_local or not self._parts:
            return self._scanned(self._parts, columns)
        # Files side by side keep their footers, which of a large fleet's year outweigh the rows.
        return pa.concat_tables([self._scanned([part], columns) for part in self._parts])

    def _scanned(self, parts: Sequence[Part], columns: Sequence[str]) -> pa.Table:
        layout = pads.ParquetFileFormat()
        fragments = [
            layout.make_fragment(path_of(file), self._filesystem, row_groups=places) for file, places in parts
        ]
        data = pads.FileSystemDataset(fragments, self._schema, layout, self._filesystem)
        # From afar a file's parts are fetched together.
        fetched = pads.ParquetFragmentScanOptions(pre_buffer=not self._is_local)
        return data.scanner(
            columns=list(columns),
            filter=self._where,
            batch_readahead=_BATCHES_AHEAD,
            fragment_readahead=1 if self._is_local else _FILES_AHEAD,
            fragment_scan_options=fetched,
        ).to_table()


def _marked(marker: int) -> CommitProperties:
    return CommitProperties(app_transactions=[Transaction(APPLICATION, marker)])


def _writer_properties(has_repeats: bool) -> WriterProperties:
    # Times step alike: as differences they take next to nothing, in a dictionary half of all the bytes.
    steps = ColumnProperties(dictionary_enabled=False, encoding="DELTA_BINARY_PACKED")
    return WriterProperties(
        compression="ZSTD",
        compression_level=1,
        max_row_group_size=_ROW_GROUP_ROWS,
        default_column_properties=ColumnProperties(dictionary_enabled=has_repeats),
        column_properties={TIME: steps, FAN: ColumnProperties(dictionary_enabled=True)},
    )


def _added(commit: str) -> Iterable[str]:
    for line in commit.splitlines():
        action: dict[str, Any] = json.loads(line)
        if "add" in action:
            yield unquote(action["add"]["path"])
