"""What one export says: the values of each mapped point, and an account of every cell."""

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from config.site import Source
from service.intake.accounts import FileReading, RefusedCell, joined
from service.intake.columns import contradictions, name_columns, point_of_file, points_of_names
from service.intake.head import Head, find_head
from service.intake.layouts import Layout, find_layout
from service.intake.mapping import PointMap
from service.intake.numbers import Numbers, are_bad, decimal_of, from_floats, from_texts
from service.intake.on_change import logged_on_change
from service.intake.plausible import oddities
from service.intake.seen import Look, SeenPoint, look_at_numbers, look_at_texts, shortened, span_of
from service.intake.series import Axis, reordered, series_of, taken
from service.intake.sheet import NUMBER, REPEATED, TEXT, Sheet, read_sheet
from service.intake.side_by_side import further_times, groups_of, tables_of
from service.intake.tables import split_at, without_repeats
from service.intake.text import DELIMITER_NAMES, PlainText, UnreadableFileError, plain_text
from service.intake.times import ReadTimes, Refusal, encoded_texts, read_times
from service.intake.zones import (
    SECOND,
    UNKNOWN,
    Clock,
    Mask,
    Times,
    passings,
    short_zone_name,
    zone_above,
    zone_of_header,
)


def read_export(content: bytes, file: str, source: Source, zone: ZoneInfo, points: PointMap) -> FileReading:
    """Read an export's bytes; raise UnreadableFileError where nothing of it can be read."""
    text = plain_text(content, source.encoding)
    del content  # large ones are let go as soon as their cells are read
    return _read(text, file, source, zone, points)


def _read(text: PlainText, file: str, source: Source, zone: dt.tzinfo, points: PointMap) -> FileReading:
    head = find_head(text, source, points.is_mapped)
    layout = find_layout(head, source, point_of_file(file), points.is_mapped)
    if not head.has_names and not layout.is_named_by_file and layout.kind != "long":
        raise UnreadableFileError("the file has no header: nothing names its columns; export it with one")
    told = _told_zone(source, head, layout, zone)
    own_zone = told.zone or zone

    def each(tables: Sequence[tuple[int, PlainText]], how: str) -> FileReading:
        return joined([(above, _read(part, file, source, own_zone, points)) for above, part in tables], how)

    groups = [] if source.time_column else groups_of(head, layout)
    if groups:
        return each(tables_of(text, head, groups), "side by side, each with a column of times")
    decimal = source.decimal or _decimal(head, layout)
    columns = name_columns(head, layout, file, points)
    looks = {
        column: look_at_texts([row[column] for row in head.rows if column < len(row)], decimal)
        for column in layout.values
    }
    sheet = read_sheet(text, head, decimal, _wanted(layout, columns.names, looks, points))
    clocked = _Clocked(sheet, layout, source, Clock(own_zone))
    if clocked.timeless.size:
        lines = [sheet.line(int(row)) for row in clocked.timeless]
        alike, others = _headers_amid(text, head, layout, lines, points)
        if others:
            return each(split_at(alike, others), "each under a header of its own")
        if alike is not text:
            whole = _read(alike, file, source, zone, points)
            whole.decided += "; header lines amid the rows left out"
            return whole
    text.release()
    decided = [layout.kind, DELIMITER_NAMES.get(head.delimiter, repr(head.delimiter)), clocked.read.decided]
    decided += [*told.decided, *_about_numbers(text, decimal), *_about_columns(head, layout)]
    # A label says which end of its interval a time stands for; every time is kept as it is written: the
    # interval is not known to a file of one row, and a split of an export must not move its times.
    decided += [f"label {source.label}"] if source.label != "instant" else ["instants"]
    notes = [*columns.notes, *told.notes]
    reading = FileReading(", ".join(decided), layout.is_named_by_file, notes=notes)
    may_turn = source.decimal is None
    reader = _Reader(
        reading, sheet, clocked, head, points, decimal, may_turn=may_turn, quality=layout.quality
    )
    if layout.kind == "long":
        reader.read_long(layout)
    else:
        reader.read_columns(columns.names, looks)
    _tell(reading, reader.told, points)
    return reading


def _headers_amid(
    text: PlainText, head: Head, layout: Layout, lines: Sequence[int], points: PointMap
) -> tuple[PlainText, list[int]]:
    """Blank the header's repetitions among `lines` without a time; return those at which tables begin."""
    is_captioned = layout.is_named_by_file or bool(layout.named_above)
    return without_repeats(text, head, lines, layout.values[0] if is_captioned else None, points.is_mapped)


def _tell(reading: FileReading, told: Mapping[str, int], points: PointMap) -> None:
    """Put into words what was seen of the cells and of the values."""
    reading.notes += [f"{count} cells {what}" for what, count in sorted(told.items())]
    reading.notes += oddities(reading.series, points)
    on_change = [said] if (said := logged_on_change(reading.series)) else []
    reading.decided = "; ".join([reading.decided, *on_change, *reading.notes])


def _about_numbers(text: PlainText, decimal: str) -> list[str]:
    said = ["decimal comma"] if decimal == "," else []
    return [*said, text.encoding] if text.encoding != "UTF-8" else said


def _about_columns(head: Head, layout: Layout) -> list[str]:
    """Say what was decided of the columns, and which are not read."""
    said = ["date and time in two columns"] if layout.time_of_day is not None else []
    said += ["AM and PM in a column"] if layout.half_of_day is not None else []
    if layout.plant is not None:
        said.append(f"points named by {head.header[layout.plant]!r} and {head.header[layout.point or 0]!r}")
    for name in further_times(head, layout):
        said.append(f"times of {head.header[layout.time]!r}, not of {name!r}")
    said += [f"{head.header[column]!r} not read" for column in layout.unread]
    return [*said, *head.notes]


@dataclass(frozen=True, slots=True)
class _ToldZone:
    """The zone that a source or an export says its times are in; and what to say of it."""

    zone: dt.tzinfo | None
    decided: list[str]
    notes: list[str]


def _told_zone(source: Source, head: Head, layout: Layout, usual: dt.tzinfo) -> _ToldZone:
    """Find the zone of the times: the source's, the time column's, or that of a line above the header."""
    if source.zone:
        return _ToldZone(ZoneInfo(source.zone), [f"zone {source.zone}"], [])
    name = head.header[layout.time]
    by_header = zone_of_header(name)
    if by_header is not None:
        return _ToldZone(by_header, [f"{by_header} by its header"], [])
    by_line, said = zone_above(head.preamble)
    if by_line is not None:
        return _ToldZone(by_line, [f"{by_line} by a line above the header"], [])
    said = said or short_zone_name(name)
    if not said:
        return _ToldZone(None, [], [])
    as_read = f"its times are said to be {said!r} and read as wall clock of {usual}"
    if said in Clock(usual).abbreviations:
        return _ToldZone(None, [as_read], [])
    return _ToldZone(None, [], [f"{as_read}: give the source's `zone` in site.toml if they are another's"])


def _decimal(head: Head, layout: Layout) -> str:
    cells = [row[column] for row in head.rows for column in layout.values if column < len(row)]
    if not any("," in cell for cell in cells):
        return "."
    return decimal_of(pa.array(cells, type=pa.string()), ".", is_comma_usual=head.delimiter != ",")


def _shows_points(head: Head) -> bool:
    """Tell whether the file's numbers surely have decimal points: then its commas stand between thousands."""
    cells = [cell for row in head.rows for cell in row if "." in cell or "," in cell]
    array = pa.array(cells, type=pa.string())
    return bool(cells) and decimal_of(array, "", is_comma_usual=False) == "."


def _wanted(
    layout: Layout, names: Mapping[int, str], looks: Mapping[int, Look], points: PointMap
) -> dict[int, str]:
    """Return the columns to read: the time, and what may hold a mapped value."""
    wanted = {layout.time: REPEATED}
    clocks = [column for column in (layout.time_of_day, layout.half_of_day) if column is not None]
    if clocks:  # to be joined with the date
        wanted = dict.fromkeys((layout.time, *clocks), TEXT)
    for column in layout.texts:
        wanted[column] = REPEATED
    for column in layout.values:
        if layout.kind == "long" or points.is_mapped(names[column]):
            wanted[column] = TEXT if looks[column].has_text else NUMBER
    return wanted


class _Clocked:
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
        self.times_us: Times = times
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


class _Reader:
    """Fills a reading from a sheet, cell by cell accounted for."""

    def __init__(
        self,
        reading: FileReading,
        sheet: Sheet,
        clocked: _Clocked,
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
        self._clocked = clocked
        self._header = head.header
        self._is_comma_usual = head.delimiter != "," and not _shows_points(head)
        self._points = points
        self._decimal = decimal
        self._whole_lines = {fault.row: fault for fault in sheet.faults if fault.column is None}
        self._cuts = {(fault.row, fault.column): fault for fault in sheet.faults if fault.column is not None}
        self._is_usable: Mask = clocked.is_good.copy()
        self._is_usable[list(self._whole_lines)] = False
        self._is_bad = {
            value: {head.header[column]: _bad_rows(sheet.columns[column]) for column in columns}
            for value, columns in quality.items()
        }
        reading.first_us, reading.newest_us = span_of(_those(clocked.times_us, clocked.is_good))

    def read_columns(self, names: Mapping[int, str], looks: Mapping[int, Look]) -> None:
        """Read a file in which each column is a point."""
        axis = Axis(self._clocked.times_us, self._is_usable)
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
        times = self._clocked.times_us[order]
        is_usable, is_good = (reordered(mask, order) for mask in (self._is_usable, self._clocked.is_good))
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
                self._refuse(int(row), self._clocked.column, fault.text, fault.reason, int(lost[row]))
                continue
            reason = Refusal(int(self._clocked.refusal[row])).reason
            text = str(self._clocked.texts[int(row)].as_py())
            self._refuse(int(row), self._clocked.column, text, reason, int(lost[row]))

    def _see(self, name: str, look: Look, cells: int, span: tuple[int | None, int | None]) -> None:
        self._reading.seen.append(SeenPoint(name, *span, cells, look))
