"""What one export says: the values of each mapped point, and an account of every cell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from config.site import Source
from service.intake.layouts import Layout, find_layout
from service.intake.mapping import PointMap
from service.intake.numbers import Numbers, from_floats, from_texts, has_decimal_commas
from service.intake.seen import Look, SeenPoint, look_at_numbers, look_at_texts, shortened, span_of
from service.intake.sheet import NUMBER, TEXT, Sheet, read_sheet
from service.intake.text import DELIMITER_NAMES, find_delimiter, plain_text, split_line
from service.intake.times import ReadTimes, Refusal, read_times
from service.intake.zones import SECOND, UNKNOWN, Clock, Mask, Times, passings

_ENDINGS: Final = (".gz", ".csv", ".txt", ".tsv")


@dataclass(frozen=True, slots=True)
class RefusedCell:
    """A value, or a time with all its values, that could not be read, with its place."""

    row: int  # the line of the file
    column: str
    value: str
    reason: str
    cells: int = 1


@dataclass(frozen=True, slots=True)
class Series:
    """A mapped point's values in one export, as written: each time once, in order, the last row winning."""

    times_us: Times
    values: NDArray[np.float64]
    # How many earlier rows of the file at the same time said the same, by the place of the time.
    repeated: NDArray[np.int64] | None = None
    # How many said otherwise.
    overruled: NDArray[np.int64] | None = None


@dataclass(slots=True)
class FileReading:
    """An export read: its series, its refusals and the count of its cells."""

    decided: str
    is_named_by_file: bool = False
    series: dict[str, Series] = field(default_factory=dict)
    refused: list[RefusedCell] = field(default_factory=list)
    seen: list[SeenPoint] = field(default_factory=list)
    cells: int = 0
    missing: int = 0
    unmapped: int = 0
    refused_count: int = 0
    first_us: int | None = None
    newest_us: int | None = None


def point_of_file(file: str) -> str:
    """Return a file's name without its folder and ending: the point of a file that holds one."""
    name = PurePosixPath(file).name
    for ending in _ENDINGS:
        if name.lower().endswith(ending):
            name = name[: -len(ending)]
    return name


def read_export(content: bytes, file: str, source: Source, zone: ZoneInfo, points: PointMap) -> FileReading:
    """Read an export's bytes; raise UnreadableFileError where nothing of it can be read."""
    text = plain_text(content)
    lines = text.sample()
    delimiter = find_delimiter(lines, source.delimiter)
    header = [name.strip() for name in split_line(lines[0], delimiter)]
    rows = [split_line(line, delimiter) for line in lines[1:] if line.strip()]
    layout = find_layout(header, rows, source, point_of_file(file), points.targets)
    decimal = source.decimal or _decimal(rows, layout, delimiter)
    names = {column: _point_name(layout, header, column, file) for column in layout.values}
    looks = {
        column: look_at_texts([row[column] for row in rows if column < len(row)], decimal)
        for column in layout.values
    }
    sheet = read_sheet(text, header, delimiter, decimal, _wanted(layout, names, looks, points))
    clocked = _Clocked(sheet, layout, source, Clock(ZoneInfo(source.zone) if source.zone else zone))
    decided = [layout.kind, DELIMITER_NAMES.get(delimiter, repr(delimiter)), clocked.read.decided]
    decided += ["date and time in two columns"] if layout.time_of_day is not None else []
    decided += ["decimal comma"] if decimal == "," else []
    decided += [text.encoding] if text.encoding != "UTF-8" else []
    # A label says which end of its interval a time stands for; every time is kept as it is written: the
    # interval is not known to a file of one row, and a split of an export must not move its times.
    decided += [f"label {source.label}"] if source.label != "instant" else ["instants"]
    reading = FileReading(", ".join(decided), layout.is_named_by_file)
    may_have_commas = delimiter != "," and source.decimal is None
    reader = _Reader(reading, sheet, clocked, header, points, decimal, may_have_commas=may_have_commas)
    if layout.kind == "long":
        reader.read_long(layout)
    else:
        reader.read_columns(names, looks)
    return reading


def _point_name(layout: Layout, header: Sequence[str], column: int, file: str) -> str:
    return point_of_file(file) if layout.is_named_by_file else header[column]


def _decimal(rows: Sequence[Sequence[str]], layout: Layout, delimiter: str) -> str:
    if delimiter == ",":
        return "."
    cells = [row[column] for row in rows for column in layout.values if column < len(row)]
    return "," if cells and has_decimal_commas(pa.array(cells, type=pa.string())) else "."


def _wanted(
    layout: Layout, names: Mapping[int, str], looks: Mapping[int, Look], points: PointMap
) -> dict[int, str]:
    """Return the columns to read: the time, and what may hold a mapped value."""
    wanted = {layout.time: TEXT}
    for column in (layout.point, layout.time_of_day):
        if column is not None:
            wanted[column] = TEXT
    for column in layout.values:
        if layout.kind == "long" or names[column] in points.targets:
            wanted[column] = TEXT if looks[column].has_text else NUMBER
    return wanted


class _Clocked:
    """The rows' times in UTC, with the reason where one was refused."""

    def __init__(self, sheet: Sheet, layout: Layout, source: Source, clock: Clock) -> None:
        self.column = layout.time
        self.texts = sheet.columns[layout.time]
        if layout.time_of_day is not None:
            self.texts = pc.binary_join_element_wise(self.texts, sheet.columns[layout.time_of_day], " ")
        self.read: ReadTimes = read_times(self.texts, source.time_format)
        place = self.read.place
        is_wall = (self.read.refusal == Refusal.NONE) & ~self.read.is_instant
        instants = clock.instants(np.where(is_wall, self.read.times_us, 0))
        times = np.where(is_wall, instants.first, self.read.times_us)[place]
        refusal = np.where(is_wall & instants.is_skipped, Refusal.SKIPPED, self.read.refusal).astype(np.int8)
        self.refusal = refusal[place]
        is_repeated = (is_wall & instants.is_repeated)[place]
        if is_repeated.any():
            passing = _passings(sheet, layout, self.read.times_us[place], is_repeated)
            times = np.where(is_repeated & (passing == SECOND), instants.second[place], times)
            self.refusal[is_repeated & (passing == UNKNOWN)] = Refusal.REPEATED
        for fault in sheet.faults:
            if fault.column == layout.time:  # the file ends within the time itself
                self.refusal[fault.row] = Refusal.NO_TIME
        self.times_us: Times = times
        self.is_good: Mask = self.refusal == Refusal.NONE


def _passings(sheet: Sheet, layout: Layout, wall_us: Times, is_repeated: Mask) -> NDArray[np.int8]:
    """Decide the passings of repeated hours along the file, or along each point's own rows in a long one."""
    if layout.point is None:
        return passings(wall_us, is_repeated)
    result = np.zeros(len(wall_us), dtype=np.int8)
    for rows in _rows_by_name(sheet.columns[layout.point])[1]:
        if is_repeated[rows].any():
            result[rows] = passings(wall_us[rows], is_repeated[rows])
    return result


def _rows_by_name(column: pa.ChunkedArray) -> tuple[list[str], list[NDArray[np.intp]]]:
    """Return the names of a column, spaces around them aside, and the rows of each in file order."""
    encoded = column.combine_chunks().dictionary_encode()
    encoded = encoded.chunk(0) if isinstance(encoded, pa.ChunkedArray) else encoded
    written = [name.strip() for name in encoded.dictionary.to_pylist()]
    names = list(dict.fromkeys(written))
    place = {name: number for number, name in enumerate(names)}
    # A narrow code sorts several times faster.
    kind = np.int16 if len(names) < 1 << 15 else np.int64
    code_of = np.array([place[name] for name in written], dtype=kind)
    codes = code_of[encoded.indices.to_numpy(zero_copy_only=False)]
    if not codes.size:
        return [], []
    order = np.argsort(codes, kind="stable")
    return names, np.split(order, np.flatnonzero(np.diff(codes[order])) + 1)


class _Reader:
    """Fills a reading from a sheet, cell by cell accounted for."""

    def __init__(
        self,
        reading: FileReading,
        sheet: Sheet,
        clocked: _Clocked,
        header: Sequence[str],
        points: PointMap,
        decimal: str,
        *,
        may_have_commas: bool,
    ) -> None:
        self._may_have_commas = may_have_commas
        self._reading = reading
        self._sheet = sheet
        self._clocked = clocked
        self._header = header
        self._points = points
        self._decimal = decimal
        self._whole_lines = {fault.row: fault for fault in sheet.faults if fault.column is None}
        self._cuts = {(fault.row, fault.column): fault for fault in sheet.faults if fault.column is not None}
        self._is_usable: Mask = clocked.is_good.copy()
        self._is_usable[list(self._whole_lines)] = False
        reading.first_us, reading.newest_us = span_of(clocked.times_us[clocked.is_good])

    def read_columns(self, names: Mapping[int, str], looks: Mapping[int, Look]) -> None:
        """Read a file in which each column is a point."""
        axis = _Axis(self._clocked.times_us, self._is_usable)
        lost = np.zeros(self._sheet.row_count, dtype=np.int64)
        pending: dict[str, list[tuple[Numbers, _Axis]]] = {}
        for column, name in names.items():
            self._reading.cells += self._sheet.row_count
            self._see(name, looks[column])
            if name not in self._points.targets:
                self._reading.unmapped += self._sheet.row_count
                continue
            numbers = self._numbers(column, is_status=self._points.is_status(name))
            self._account(numbers, column, lost, np.arange(self._sheet.row_count))
            pending.setdefault(name, []).append((numbers, axis))
        for name, parts in pending.items():
            self._reading.series[name] = _series(parts)
        self._refuse_lines(lost)

    def read_long(self, layout: Layout) -> None:
        """Read a file in which each row names its point."""
        assert layout.point is not None
        column = layout.values[0]
        self._reading.cells = self._sheet.row_count
        names, parts = _rows_by_name(self._sheet.columns[layout.point])
        lost = np.zeros(self._sheet.row_count, dtype=np.int64)
        plain, states = self._numbers(column, is_status=False), None
        for name, rows in zip(names, parts, strict=True):
            example = self._sheet.columns[column][int(rows[0])].as_py()
            self._see(
                name, look_at_numbers(plain.values[rows], "" if example is None else str(example)), rows
            )
            if name not in self._points.targets:
                self._reading.unmapped += len(rows)
                continue
            if self._points.is_status(name):
                states = states or self._numbers(column, is_status=True)
            numbers = _taken(states if self._points.is_status(name) and states else plain, rows)
            self._account(numbers, column, lost, rows)
            axis = _Axis(self._clocked.times_us[rows], self._is_usable[rows])
            self._reading.series[name] = _series([(numbers, axis)])
        self._refuse_lines(lost)

    def _numbers(self, column: int, *, is_status: bool) -> Numbers:
        cells = self._sheet.columns[column]
        if not self._sheet.is_text(column):
            return from_floats(cells)
        # A comma may first show far below the lines that the file's own decision was made on.
        decimal = self._decimal
        if self._may_have_commas:
            decimal = "," if has_decimal_commas(cells) else "."
        return from_texts(cells, decimal, is_status=is_status)

    def _account(
        self, numbers: Numbers, column: int, lost: NDArray[np.int64], rows: NDArray[np.intp]
    ) -> None:
        """Count a column's missing and refused cells; values on refused lines are counted in `lost`."""
        is_usable = self._is_usable[rows]
        for (row, cut_column), fault in self._cuts.items():
            for place in np.flatnonzero(rows == row).tolist() if cut_column == column else ():
                numbers.refuse(place)
                if is_usable[place]:
                    self._refuse(row, column, fault.text, fault.reason)
        self._reading.missing += int(np.count_nonzero(numbers.is_missing))
        if not is_usable.all():
            np.add.at(lost, rows[~is_usable & ~numbers.is_missing], 1)
        if numbers.is_refused is None:
            return
        is_told = {row for row, cut_column in self._cuts if cut_column == column}
        for row in rows[numbers.is_refused & is_usable].tolist():
            if row not in is_told:
                self._refuse(row, column, str(self._sheet.columns[column][row].as_py()), "not a number")

    def _refuse(self, row: int, column: int, value: str, reason: str, cells: int = 1) -> None:
        name = self._header[column] if column < len(self._header) else ""
        place = self._sheet.line(row)
        self._reading.refused.append(RefusedCell(place, name, shortened(value), reason, cells))
        self._reading.refused_count += cells

    def _refuse_lines(self, lost: NDArray[np.int64]) -> None:
        """Enter one refusal for each line that took values with it."""
        for row in np.flatnonzero(lost):
            fault = self._whole_lines.get(int(row))
            if fault is not None:
                self._refuse(int(row), self._clocked.column, fault.text, fault.reason, int(lost[row]))
                continue
            reason = Refusal(int(self._clocked.refusal[row])).reason
            text = str(self._clocked.texts[int(row)].as_py())
            self._refuse(int(row), self._clocked.column, text, reason, int(lost[row]))

    def _see(self, name: str, look: Look, rows: NDArray[np.intp] | None = None) -> None:
        if rows is None:
            first, last = self._reading.first_us, self._reading.newest_us
        else:
            first, last = span_of(self._clocked.times_us[rows][self._clocked.is_good[rows]])
        cells = self._sheet.row_count if rows is None else len(rows)
        self._reading.seen.append(SeenPoint(name, first, last, cells, look))


class _Axis:
    """The times of some rows, and the way from rows to distinct times in order."""

    def __init__(self, times_us: Times, is_usable: Mask) -> None:
        self.times_us = times_us
        self.is_usable = is_usable
        self.is_plain = bool(is_usable.all()) and bool(np.all(times_us[1:] > times_us[:-1]))


def _series(parts: Sequence[tuple[Numbers, _Axis]]) -> Series:
    """Return a point's distinct times in order, from one column or from several of the same name."""
    if len(parts) == 1 and parts[0][1].is_plain:
        numbers, axis = parts[0]
        if not numbers.is_missing.any() and numbers.is_refused is None:
            return Series(axis.times_us, numbers.values)
    times = np.concatenate([axis.times_us for _, axis in parts])
    values = np.concatenate([numbers.values for numbers, _ in parts])
    is_used = np.concatenate([axis.is_usable & ~np.isnan(numbers.values) for numbers, axis in parts])
    times, values = times[is_used], values[is_used]
    if np.all(times[1:] > times[:-1]):
        return Series(times, values)
    order = np.argsort(times, kind="stable")
    times, values = times[order], values[order]
    is_last = np.append(times[1:] != times[:-1], True)[: len(times)]
    if is_last.all():
        return Series(times, values)
    place = np.concatenate([[0], np.cumsum(is_last)[:-1]])
    kept = values[is_last]
    is_same = (values == kept[place]) & ~is_last
    is_other = (values != kept[place]) & ~is_last
    return Series(
        times[is_last],
        kept,
        np.bincount(place[is_same], minlength=len(kept)),
        np.bincount(place[is_other], minlength=len(kept)),
    )


def _taken(numbers: Numbers, rows: NDArray[np.intp]) -> Numbers:
    refused = None if numbers.is_refused is None else numbers.is_refused[rows]
    return Numbers(numbers.values[rows], numbers.is_missing[rows], refused)
