"""The cells of an export's sheet: each a value of a point, missing, unmapped or refused with its reason."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from config.site import Source
from service.intake.accounts import FileReading, RefusedCell
from service.intake.columns import contradictions, points_of_names
from service.intake.head import Head
from service.intake.labels import labelled
from service.intake.layouts import Layout
from service.intake.mapping import PointMap
from service.intake.numbers import Numbers, are_bad, decimal_of, from_floats, from_texts
from service.intake.seen import Look, SeenPoint, look_at_numbers, shortened, span_of
from service.intake.series import Axis, reordered, series_of, taken
from service.intake.sheet import Sheet
from service.intake.text import split_line
from service.intake.times import ReadTimes, Refusal, encoded_texts, read_times
from service.intake.zones import (
    SECOND,
    UNKNOWN,
    Clock,
    Mask,
    Times,
    passings,
)

_LEFT_OUT: Final = "a row of totals, units or text below the readings: left out, and nothing need be done"


class RowTimes:
    """The rows' times in UTC, with the reason where one was refused."""

    def __init__(self, sheet: Sheet, layout: Layout, source: Source, clock: Clock) -> None:
        self.column = layout.time
        self.texts = sheet.columns[layout.time]
        for part in (layout.time_of_day, layout.half_of_day):
            if part is not None:
                self.texts = pc.binary_join_element_wise(self.texts, sheet.columns[part], " ")
        self.read: ReadTimes = read_times(self.texts, source.time_format, clock.abbreviations)
        place = self.read.place
        is_wall = (self.read.refusal == Refusal.NONE) & ~self.read.is_instant
        instants = clock.instants(np.where(is_wall, self.read.times_us, 0))
        times = np.where(is_wall, instants.first, self.read.times_us)[place]
        refusal = np.where(is_wall & instants.is_skipped, Refusal.SKIPPED, self.read.refusal).astype(np.int8)
        self.refusal = refusal[place]
        if (is_wall & instants.is_repeated).any():
            is_repeated = (is_wall & instants.is_repeated)[place]
            passing = _passings(sheet, layout, self.read.times_us[place], is_repeated)
            times = np.where(is_repeated & (passing == SECOND), instants.second[place], times)
            self.refusal[is_repeated & (passing == UNKNOWN)] = Refusal.REPEATED
        for fault in sheet.faults:
            if fault.column == layout.time:  # the file ends within the time itself
                self.refusal[fault.row] = Refusal.NO_TIME
        self.timeless = np.flatnonzero(self.refusal == Refusal.NO_TIME)
        self.times_us: Times = labelled(times, source.label)
        self.is_good: Mask = self.refusal == Refusal.NONE


def _passings(sheet: Sheet, layout: Layout, wall_us: Times, is_repeated: Mask) -> NDArray[np.int8]:
    """Decide the passings of repeated hours along the file, or along each point's own rows in a long one."""
    if layout.point is None:
        return passings(wall_us, is_repeated)
    result = np.zeros(len(wall_us), dtype=np.int8)
    grouped = _by_name(_point_names(sheet, layout, layout.point))
    for start, end in grouped.spans:
        rows = grouped.rows(slice(start, end))
        if is_repeated[rows].any():
            result[rows] = passings(wall_us[rows], is_repeated[rows])
    return result


@dataclass(frozen=True, slots=True)
class _Grouped:
    """The rows of a long file in an order that puts those of one name together, in file order there."""

    names: list[str]
    order: NDArray[np.intp] | None  # None: the file's own
    spans: list[tuple[int, int]]  # of each name's rows in the order

    def rows(self, span: slice) -> NDArray[np.intp]:
        """Return the places in the file of some rows of the order."""
        return np.arange(span.start, span.stop) if self.order is None else self.order[span]


def _by_name(column: pa.ChunkedArray) -> _Grouped:
    """Group the rows by the names of a column, spaces around them aside."""
    encoded = encoded_texts(column)
    written = [name.strip() for name in encoded.dictionary.to_pylist()]
    names = list(dict.fromkeys(written))
    place = {name: number for number, name in enumerate(names)}
    # A narrow code sorts several times faster.
    kind = np.int16 if len(names) < 1 << 15 else np.int64
    code_of = np.array([place[name] for name in written], dtype=kind)
    codes = code_of[encoded.indices.to_numpy(zero_copy_only=False)]
    if not codes.size:
        return _Grouped([], None, [])
    order = None if np.all(codes[1:] >= codes[:-1]) else np.argsort(codes, kind="stable")
    ends = np.cumsum(np.bincount(codes, minlength=len(names))).tolist()
    return _Grouped(names, order, list(zip([0, *ends], ends, strict=False)))


def _point_names(sheet: Sheet, layout: Layout, point: int) -> pa.ChunkedArray:
    """Return the point of each row of a long file, from one column or from two."""
    names = sheet.columns[point]
    if layout.plant is None:
        return names
    plants, points = (
        pc.utf8_trim_whitespace(column.cast(pa.string())) for column in (sheet.columns[layout.plant], names)
    )
    return pc.binary_join_element_wise(plants, points, layout.join)


def _those(times_us: Times, is_wanted: Mask) -> Times:
    return times_us if is_wanted.all() else times_us[is_wanted]


def _bad_rows(column: pa.ChunkedArray) -> Mask:
    """Tell in which rows the column beside the values says that there is none."""
    encoded = encoded_texts(column)
    is_bad: Mask = are_bad(encoded.dictionary)[encoded.indices.to_numpy(zero_copy_only=False)]
    return is_bad


class CellReader:
    """Fills a reading from a sheet, cell by cell accounted for."""

    def __init__(
        self,
        reading: FileReading,
        sheet: Sheet,
        row_times: RowTimes,
        head: Head,
        points: PointMap,
        decimal: str,
        *,
        may_turn: bool,
        quality: Mapping[int, Sequence[int]],
    ) -> None:
        self._may_turn = may_turn
        self.told: Counter[str] = Counter()
        self._reading = reading
        self._sheet = sheet
        self._row_times = row_times
        self._header = head.header
        self._left_out, self._delimiter = head.left_out, head.delimiter
        self._is_comma_usual = head.delimiter != "," and not _shows_points(head)
        self._points = points
        self._decimal = decimal
        self._whole_lines = {fault.row: fault for fault in sheet.faults if fault.column is None}
        self._cuts = {(fault.row, fault.column): fault for fault in sheet.faults if fault.column is not None}
        self._is_usable: Mask = row_times.is_good.copy()
        self._is_usable[list(self._whole_lines)] = False
        self._is_bad = {
            value: {head.header[column]: _bad_rows(sheet.columns[column]) for column in columns}
            for value, columns in quality.items()
        }
        reading.first_us, reading.newest_us = span_of(_those(row_times.times_us, row_times.is_good))

    def read_columns(self, names: Mapping[int, str], looks: Mapping[int, Look]) -> None:
        """Read a file in which each column is a point."""
        axis = Axis(self._row_times.times_us, self._is_usable)
        lost = np.zeros(self._sheet.row_count, dtype=np.int64)
        rows = np.arange(self._sheet.row_count)
        pending: dict[str, list[tuple[Numbers, Axis]]] = {}
        for column, name in names.items():
            self._reading.cells += self._sheet.row_count
            span = (self._reading.first_us, self._reading.newest_us)
            self._see(name, looks[column], self._sheet.row_count, span)
            if name not in self._points.targets:
                self._reading.unmapped += self._sheet.row_count
                continue
            numbers = self._numbers(column, is_status=self._points.is_status(name))
            for unit in sorted(numbers.units):
                self._reading.notes += contradictions({name: unit}, self._points)
            self._account(numbers, column, lost, rows, self._is_usable)
            self.told += numbers.told
            pending.setdefault(name, []).append((numbers, axis))
        for name, parts in pending.items():
            self._reading.series[name] = series_of(parts)
        self._refuse_lines(lost)

    def read_long(self, layout: Layout) -> None:
        """Read a file in which each row names its point."""
        assert layout.point is not None
        column = layout.values[0]
        self._reading.cells = self._sheet.row_count
        grouped = _by_name(_point_names(self._sheet, layout, layout.point))
        order = slice(None) if grouped.order is None else grouped.order
        lost = np.zeros(self._sheet.row_count, dtype=np.int64)
        plain, states = taken(self._numbers(column, is_status=False), order), None
        self.told += plain.told
        times = self._row_times.times_us[order]
        is_usable, is_good = (reordered(mask, order) for mask in (self._is_usable, self._row_times.is_good))
        known = points_of_names(grouped.names, self._points, self._reading.notes)
        by_point: dict[str, list[tuple[Numbers, Axis]]] = {}
        for written, (start, end) in zip(grouped.names, grouped.spans, strict=True):
            name, span = known[written], slice(start, end)
            rows = grouped.rows(span)
            example = self._sheet.columns[column][int(rows[0])].as_py()
            look = look_at_numbers(plain.values[span], "" if example is None else str(example))
            self._see(name, look, end - start, span_of(_those(times[span], is_good[span])))
            if name not in self._points.targets:
                self._reading.unmapped += end - start
                continue
            if self._points.is_status(name):
                states = states or taken(self._numbers(column, is_status=True), order)
            numbers = taken(states if self._points.is_status(name) and states else plain, span)
            self._account(numbers, column, lost, rows, is_usable[span])
            by_point.setdefault(name, []).append((numbers, Axis(times[span], is_usable[span])))
        for name, several in by_point.items():
            self._reading.series[name] = series_of(several)
        self._refuse_lines(lost)

    def refuse_left_out(self, layout: Layout, names: Mapping[int, str]) -> None:
        """Account for the lines left out below the rows: what stands under points is refused."""
        for line, text in self._left_out:
            cells = split_line(text, self._delimiter)
            cells += [""] * (len(self._header) - len(cells))
            if not any(cells[column].strip() for column in names):
                continue  # words of the export's own, under no point
            refused = 0
            self._reading.cells += len(names)
            for column, written in names.items():
                name = self._points.point_named(layout.point_in(cells)) if layout.kind == "long" else written
                if name not in self._points.targets:
                    self._reading.unmapped += 1
                    continue
                is_status = self._points.is_status(name)
                told = from_texts(pa.chunked_array([[cells[column]]]), self._decimal, is_status=is_status)
                self._reading.missing += int(told.is_missing[0])
                refused += int(not told.is_missing[0])
            if refused:
                time = self._header[layout.time]
                self._reading.refused.append(RefusedCell(line, time, shortened(text), _LEFT_OUT, refused))
                self._reading.refused_count += refused

    def _numbers(self, column: int, *, is_status: bool) -> Numbers:
        numbers = self._as_written(column, is_status=is_status)
        for name, is_bad in self._is_bad.get(column, {}).items():
            numbers = numbers.without(is_bad, f"taken as missing: {name!r} says so")
        return numbers

    def _as_written(self, column: int, *, is_status: bool) -> Numbers:
        cells = self._sheet.columns[column]
        if not self._sheet.is_text(column):
            return from_floats(cells)
        # A comma may first show far below the lines that the file's own decision was made on.
        decimal = self._decimal
        if self._may_turn:
            decimal = decimal_of(cells, decimal, is_comma_usual=self._is_comma_usual)
        return from_texts(cells, decimal, is_status=is_status)

    def _account(
        self,
        numbers: Numbers,
        column: int,
        lost: NDArray[np.int64],
        rows: NDArray[np.intp],
        is_usable: Mask,
    ) -> None:
        """Count a column's missing and refused cells; values on refused lines are counted in `lost`."""
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
                self._refuse(int(row), self._row_times.column, fault.text, fault.reason, int(lost[row]))
                continue
            reason = Refusal(int(self._row_times.refusal[row])).reason
            text = str(self._row_times.texts[int(row)].as_py())
            self._refuse(int(row), self._row_times.column, text, reason, int(lost[row]))

    def _see(self, name: str, look: Look, cells: int, span: tuple[int | None, int | None]) -> None:
        self._reading.seen.append(SeenPoint(name, *span, cells, look))


def _shows_points(head: Head) -> bool:
    """Tell whether the file's numbers surely have decimal points: then its commas stand between thousands."""
    cells = [cell for row in head.rows for cell in row if "." in cell or "," in cell]
    array = pa.array(cells, type=pa.string())
    return bool(cells) and decimal_of(array, "", is_comma_usual=False) == "."
