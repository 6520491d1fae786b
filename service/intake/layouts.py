"""Which columns of an export hold the time, the points and the values."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import pyarrow as pa

from config.site import Source
from service.intake.head import POINT_NAMES, TIME_NAMES, Head, Mapped, is_like_time
from service.intake.text import UnreadableFileError
from service.intake.times import Refusal, read_times

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
_SURE_AFTER: Final = 5  # of a column that is named so
_HALF: Final = re.compile(r"[AaPp]\.?\s?[Mm]\.?")
_JOINS: Final = (" ", "/", ".", "_", "-", ":", " - ", "")
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
    half_of_day: int | None = None  # where AM and PM have a column of their own
    named_above: str = ""  # the point, where a line above the header names it
    # By a value's column, those that say of each of its values whether it is one.
    quality: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    plant: int | None = None  # a column whose cells, before the point's, make a name that the site maps
    join: str = ""  # what then stands between the two
    unread: tuple[int, ...] = ()  # beside the value of a long file or one of a single point

    @property
    def texts(self) -> tuple[int, ...]:
        """Return the columns to be read beside the values, each of whose cells is a text."""
        further = (self.point, self.plant, *(column for some in self.quality.values() for column in some))
        return tuple(column for column in further if column is not None)

    def point_in(self, cells: Sequence[str]) -> str:
        """Return the point that a row of a long file names."""
        assert self.point is not None
        name = cells[self.point].strip()
        return name if self.plant is None else f"{cells[self.plant].strip()}{self.join}{name}"


def find_layout(head: Head, source: Source, file_point: str, is_mapped: Mapped) -> Layout:
    """Decide the layout from the header, the first rows and the points the site maps.

    Long: a column whose cells name points. Single: a time and one value, under a name that is no point.
    Wide: every column but the time is a point.
    """
    header, rows = head.header, head.rows
    time = _time_column(header, rows, source)
    time_of_day = _time_of_day_column(header, rows, time)
    half_of_day = _half_of_day_column(header, rows, is_mapped)
    others = [column for column in range(len(header)) if column not in (time, time_of_day, half_of_day)]
    if not others:
        raise UnreadableFileError("no column beside the time: nothing to read")
    layout = _of_columns(header, rows, source, file_point, is_mapped, time=time, others=others)
    layout = replace(layout, time_of_day=time_of_day, half_of_day=half_of_day)
    if not layout.is_named_by_file:
        return layout
    above = {name for line in head.preamble for name in names_in(line) if is_mapped(name)}
    if not above and not is_mapped(file_point):
        above = {name for line in head.preamble for name in _names_told(line)}
    return replace(layout, is_named_by_file=False, named_above=above.pop()) if len(above) == 1 else layout


def _names_told(line: Sequence[str]) -> list[str]:
    """Return the name that a line gives after the word for one, be it of a point that nobody maps yet."""
    word, mark, rest = ":".join(line).partition(":")
    name = rest.strip(": ")
    return [name] if mark and name and POINT_NAMES.fullmatch(word.strip()) else []


def names_in(line: Sequence[str]) -> list[str]:
    """Return what may name a point in a line above the header: its cells, and what they say after a colon."""
    return [*line, *(cell.partition(mark)[2].strip() for cell in line for mark in ":=" if mark in cell)]


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
        return _long(header, rows, time, others, point, is_mapped)
    is_one_value = len(others) == 1 or _is_value_with_sides([header[column] for column in others], is_mapped)
    if source.layout == "single" or (source.layout == "auto" and is_one_value):
        column = others[0] if len(others) == 1 else _value_column(header, rows, others)
        single = _single(header[column], column, time, source.layout, file_point, is_mapped)
        return _with_sides(single, header, others)
    quality = _quality_beside(header, others, is_mapped)
    sides = {column for some in quality.values() for column in some}
    return Layout("wide", time, tuple(column for column in others if column not in sides), quality=quality)


def _long(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    time: int,
    others: list[int],
    point: int | None,
    is_mapped: Mapped,
) -> Layout:
    if point is None:
        raise UnreadableFileError("the source says long, but no column of this file names points")
    rest = [column for column in others if column != point]
    if not rest:
        raise UnreadableFileError("no value column beside the time and the point: nothing to read")
    value = _value_column(header, rows, rest)
    plant, join = _plant_column(rows, [column for column in rest if column != value], point, is_mapped)
    layout = Layout("long", time, (value,), point, plant=plant, join=join)
    return _with_sides(layout, header, rest)


def _is_value_with_sides(names: Sequence[str], is_mapped: Mapped) -> bool:
    """Tell whether columns are one value and what stands beside it: its quality, its unit."""
    values = [name for name in names if _VALUE_NAMES.fullmatch(name)]
    sides = [name for name in names if _QUALITY_NAMES.fullmatch(name) or _UNIT_NAMES.fullmatch(name)]
    return len(values) == 1 and len(values) + len(sides) == len(names) and not any(map(is_mapped, sides))


def _with_sides(layout: Layout, header: Sequence[str], columns: Sequence[int]) -> Layout:
    """Part the columns beside the one value into those that say whether it is one, and those not read."""
    (value,) = layout.values
    sides = [column for column in columns if column not in (value, layout.point, layout.plant)]
    quality = tuple(column for column in sides if _QUALITY_NAMES.fullmatch(header[column]))
    unread = (
        column for column in sides if column not in quality and not _UNIT_NAMES.fullmatch(header[column])
    )
    return replace(layout, quality={value: quality} if quality else {}, unread=tuple(unread))


def _quality_beside(
    header: Sequence[str], columns: Sequence[int], is_mapped: Mapped
) -> dict[int, tuple[int, ...]]:
    """Find the columns that follow a mapped point's and say of each of its values whether it is one."""
    found: dict[int, tuple[int, ...]] = {}
    value: int | None = None
    for column in columns:
        name = header[column]
        if is_mapped(name):
            value = column
        elif value is not None and column == value + 1 and _is_quality_of(name, header[value]):
            found[value] = (column,)
    return found


def _is_quality_of(name: str, point: str) -> bool:
    """Tell whether a column beside a point's is its quality: by that word, with the point's name or alone."""
    rest = name.removeprefix(point).strip(" _-.:/[]()") if name.startswith(point) else name
    return _QUALITY_NAMES.fullmatch(rest) is not None


def _plant_column(
    rows: Sequence[Sequence[str]], columns: Sequence[int], point: int, is_mapped: Mapped
) -> tuple[int | None, str]:
    """Find the column whose cells, put before the point's, name points that the site maps."""
    whole = [row for row in rows if all(place < len(row) for place in (*columns, point))]
    if any(is_mapped(row[point].strip()) for row in whole):
        return None, ""
    for column in columns:
        pairs = dict.fromkeys((row[column].strip(), row[point].strip()) for row in whole)
        for join in _JOINS:
            if any(is_mapped(join.join(pair)) for pair in pairs):
                return column, join
    return None, ""


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
    for column in named if source.time_format is None else ():
        first = [row[column] for row in rows[:_SURE_AFTER] if column < len(row) and row[column].strip()]
        if first and all(is_like_time(cell) and not _TIME_OF_DAY.fullmatch(cell.strip()) for cell in first):
            return column
    for column in [*named, *(place for place in range(len(header)) if place not in named)]:
        if _share_of_times([row[column] for row in rows[:_LOOKED_AT] if column < len(row)], source) > 0.5:
            return column
    if named:
        return named[0]
    if any(sum(map(is_like_time, row)) > max(1, len(row) / 2) for row in (header, *rows[:1])):
        raise UnreadableFileError("its times stand side by side in the header: export it with a row a time")
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


def _half_of_day_column(
    header: Sequence[str], rows: Sequence[Sequence[str]], is_mapped: Mapped
) -> int | None:
    """Find the column that says AM or PM of every row."""
    for column, name in enumerate(header):
        cells = [row[column].strip() for row in rows[:_LOOKED_AT] if column < len(row)]
        filled = [cell for cell in cells if cell]
        if filled and not is_mapped(name) and all(_HALF.fullmatch(cell) for cell in filled):
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
    if len(others) < 2 or any(is_mapped(header[column]) for column in others):
        return None
    cells = {column: [row[column].strip() for row in rows if column < len(row)] for column in others}
    for column in others:
        if any(is_mapped(cell) for cell in dict.fromkeys(cells[column])):
            return column
    named = [column for column in others if POINT_NAMES.fullmatch(header[column])]
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
