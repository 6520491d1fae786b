"""Which columns of an export hold the time, the points and the values."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pyarrow as pa

from config.site import Source
from service.intake.head import TIME_NAMES, Head, Mapped
from service.intake.text import UnreadableFileError
from service.intake.times import Refusal, read_times

_POINT_NAMES: Final = re.compile(
    r"(point|tag|name|sensor|trend|series|signal|channel|variable|object|path|item|id|measurement)"
    r"([ _-]?(name|id|path|ref|reference))?",
    re.IGNORECASE,
)
_VALUE_NAMES: Final = re.compile(
    r"(value|reading|val|data|result|sample|measured|presentvalue|average|avg|mean)([ _-]?(value|reading))?"
    r"(\s*[\[(].*[\])])?",
    re.IGNORECASE,
)
_QUALITY_NAMES: Final = re.compile(
    r"(((value|point|trend|sample|data) ?)?(status|quality|flags?|reliability|validity)|state)"
    r"([ _-]?(flags?|code|text))?",
    re.IGNORECASE,
)
_UNIT_NAMES: Final = re.compile(r"(eng(ineering)?\.? ?)?units?|uom|unit of measure", re.IGNORECASE)
_LOOKED_AT: Final = 50  # rows that show which column holds the times
_TIME_OF_DAY: Final = re.compile(r"\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?")


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of an export by their part in it, counted from 0."""

    kind: str  # wide, long or single
    time: int
    values: tuple[int, ...]
    point: int | None = None
    is_named_by_file: bool = False
    time_of_day: int | None = None  # where the time's column holds the date alone
    named_above: str = ""  # the point, where a line above the header names it
    quality: tuple[int, ...] = ()  # columns that say of each value whether it is one


def find_layout(head: Head, source: Source, file_point: str, is_mapped: Mapped) -> Layout:
    """Decide the layout from the header, the first rows and the points the site maps.

    Long: a column whose cells name points. Single: a time and one value, under a name that is no point.
    Wide: every column but the time is a point.
    """
    header, rows = head.header, head.rows
    time = _time_column(header, rows, source)
    time_of_day = _time_of_day_column(header, rows, time)
    others = [column for column in range(len(header)) if column not in (time, time_of_day)]
    if not others:
        raise UnreadableFileError("no column beside the time: nothing to read")
    layout = _of_columns(header, rows, source, file_point, is_mapped, time=time, others=others)
    above = {cell for cell in head.preamble if is_mapped(cell)}
    if layout.is_named_by_file and len(above) == 1:
        return replace(layout, time_of_day=time_of_day, is_named_by_file=False, named_above=above.pop())
    return replace(layout, time_of_day=time_of_day)


def _of_columns(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    source: Source,
    file_point: str,
    is_mapped: Mapped,
    *,
    time: int,
    others: list[int],
) -> Layout:
    point = None if source.layout in ("wide", "single") else _point_column(header, rows, others, is_mapped)
    if source.layout == "long" or (source.layout == "auto" and point is not None):
        return _long(header, rows, time, others, point)
    is_one_value = len(others) == 1 or _is_value_with_sides([header[column] for column in others], is_mapped)
    if source.layout == "single" or (source.layout == "auto" and is_one_value):
        column = others[0] if len(others) == 1 else _value_column(header, rows, others)
        single = _single(header[column], column, time, source.layout, file_point, is_mapped)
        return replace(single, quality=_quality_columns(header, others, column))
    return Layout("wide", time, tuple(others))


def _long(
    header: Sequence[str], rows: Sequence[Sequence[str]], time: int, others: list[int], point: int | None
) -> Layout:
    if point is None:
        raise UnreadableFileError("the source says long, but no column of this file names points")
    rest = [column for column in others if column != point]
    if not rest:
        raise UnreadableFileError("no value column beside the time and the point: nothing to read")
    value = _value_column(header, rows, rest)
    return Layout("long", time, (value,), point, quality=_quality_columns(header, rest, value))


def _is_value_with_sides(names: Sequence[str], is_mapped: Mapped) -> bool:
    """Tell whether columns are one value and what stands beside it: its quality, its unit."""
    values = [name for name in names if _VALUE_NAMES.fullmatch(name)]
    sides = [name for name in names if _QUALITY_NAMES.fullmatch(name) or _UNIT_NAMES.fullmatch(name)]
    return len(values) == 1 and len(values) + len(sides) == len(names) and not any(map(is_mapped, sides))


def _quality_columns(header: Sequence[str], columns: Sequence[int], value: int) -> tuple[int, ...]:
    return tuple(column for column in columns if column != value and _QUALITY_NAMES.fullmatch(header[column]))


def _single(name: str, column: int, time: int, layout: str, file_point: str, is_mapped: Mapped) -> Layout:
    is_point = is_mapped(name)
    # A header that is no word for "value" may name a point nobody has mapped yet.
    may_be_point = (
        layout == "auto" and not is_mapped(file_point) and not _VALUE_NAMES.fullmatch(name) and name
    )
    if is_point or may_be_point:
        return Layout("single", time, (column,))
    return Layout("single", time, (column,), is_named_by_file=True)


def _time_column(header: Sequence[str], rows: Sequence[Sequence[str]], source: Source) -> int:
    if source.time_column is not None:
        if source.time_column in header:
            return header.index(source.time_column)
        raise UnreadableFileError(f"no column is named {source.time_column!r}, the source's time_column")
    named = [place for place, name in enumerate(header) if TIME_NAMES.fullmatch(name)]
    for column in [*named, *(place for place in range(len(header)) if place not in named)]:
        if _share_of_times([row[column] for row in rows[:_LOOKED_AT] if column < len(row)], source) > 0.5:
            return column
    if named:
        return named[0]
    raise UnreadableFileError("no column of times found: name it with the source's time_column")


def _time_of_day_column(header: Sequence[str], rows: Sequence[Sequence[str]], date: int) -> int | None:
    """Find the column of the time of day, where the column found for the time holds dates alone."""
    if any(":" in row[date] for row in rows if date < len(row)):
        return None
    for column, name in enumerate(header):
        cells = [row[column].strip() for row in rows if column < len(row)]
        is_clock = [_TIME_OF_DAY.fullmatch(cell) is not None for cell in cells if cell]
        if column != date and TIME_NAMES.fullmatch(name) and is_clock and all(is_clock):
            return column
    return None


def _share_of_times(cells: list[str], source: Source) -> float:
    filled = [cell for cell in cells if cell.strip()]
    if not filled:
        return 0.0
    read = read_times(pa.array(filled, type=pa.string()), source.time_format)
    return float(np.isin(read.refusal[read.place], (Refusal.NONE, Refusal.AMBIGUOUS)).mean())


def _point_column(
    header: Sequence[str], rows: Sequence[Sequence[str]], others: list[int], is_mapped: Mapped
) -> int | None:
    if any(is_mapped(header[column]) for column in others):
        return None
    cells = {column: [row[column].strip() for row in rows if column < len(row)] for column in others}
    for column in others:
        if any(is_mapped(cell) for cell in dict.fromkeys(cells[column])):
            return column
    named = [column for column in others if _POINT_NAMES.fullmatch(header[column])]
    is_valued = any(_VALUE_NAMES.fullmatch(header[column]) for column in others)
    for column in named:
        if is_valued and len(others) >= 2 and not _share_of_numbers(cells[column]) > 0.5:
            return column
    return None


def _value_column(header: Sequence[str], rows: Sequence[Sequence[str]], columns: list[int]) -> int:
    for column in columns:
        if _VALUE_NAMES.fullmatch(header[column]):
            return column
    shares = {
        column: _share_of_numbers([row[column] for row in rows if column < len(row)]) for column in columns
    }
    return max(columns, key=lambda column: (shares[column], -column))


def _share_of_numbers(cells: list[str]) -> float:
    filled = [cell.strip() for cell in cells if cell.strip()]
    return sum(_is_number(cell) for cell in filled) / len(filled) if filled else 0.0


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"[+-]?[0-9]*[.,]?[0-9]+([eE][+-]?[0-9]+)?", cell) is not None
