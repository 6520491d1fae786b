"""What one export says: how its file is laid out, and what its cells are read as."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import pyarrow as pa

from config.site import Source
from service.intake.accounts import FileReading, joined
from service.intake.cells import CellReader, RowTimes
from service.intake.columns import name_columns, point_of_file
from service.intake.head import Head, find_head
from service.intake.layouts import Layout, find_layout
from service.intake.mapping import PointMap
from service.intake.numbers import decimal_of
from service.intake.on_change import logged_on_change
from service.intake.plausible import oddities
from service.intake.seen import Look, look_at_texts
from service.intake.sheet import NUMBER, REPEATED, TEXT, read_sheet
from service.intake.side_by_side import further_times, groups_of, tables_of
from service.intake.tables import split_at, without_repeats
from service.intake.text import DELIMITER_NAMES, PlainText, UnreadableFileError, plain_text
from service.intake.zones import (
    Clock,
    short_zone_name,
    zone_above,
    zone_of_header,
)

_LABELS_SAID: Final = {
    "instant": "instants",
    "start": "label start (a value counts in the hour and day that begin at its time)",
    "end": "label end (a value counts in the hour and day that end at its time)",
}


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
    row_times = RowTimes(sheet, layout, source, Clock(own_zone))
    if row_times.timeless.size:
        lines = [sheet.line(int(row)) for row in row_times.timeless]
        alike, others = _headers_amid(text, head, layout, lines, points)
        if others:
            return each(split_at(alike, others), "each under a header of its own")
        if alike is not text:
            whole = _read(alike, file, source, zone, points)
            whole.decided += "; header lines amid the rows left out"
            return whole
    text.release()
    decided = [layout.kind, DELIMITER_NAMES.get(head.delimiter, repr(head.delimiter)), row_times.read.decided]
    decided += [*told.decided, *_about_numbers(text, decimal), *_about_columns(head, layout)]
    decided.append(_LABELS_SAID[source.label])
    notes = [*columns.notes, *told.notes]
    reading = FileReading(", ".join(decided), layout.is_named_by_file, notes=notes)
    may_turn = source.decimal is None
    reader = CellReader(
        reading, sheet, row_times, head, points, decimal, may_turn=may_turn, quality=layout.quality
    )
    if layout.kind == "long":
        reader.read_long(layout)
    else:
        reader.read_columns(columns.names, looks)
    reader.refuse_left_out(layout, columns.names)
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
