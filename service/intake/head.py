"""Where the table of an export begins and ends: what stands above its header, what names its columns."""

import datetime as dt
import itertools
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from config.site import Source
from service.intake.quantities import are_units
from service.intake.text import DELIMITERS, SAMPLE_BYTES, PlainText, UnreadableFileError, split_line

TIME_NAMES: Final = re.compile(
    r"(date|time|datetime|date ?/ ?time|date[ _-]?time|time[ _-]?stamp|stamp|ts|when|recorded( at)?|epoch"
    r"|(local|utc|sample|log|trend|record|unix|epoch)[ _-]?time(stamp)?|time[ _-]?(utc|local|s|ms)"
    r"|date and time)(\s*[\[(].*[\])])?",
    re.IGNORECASE,
)
POINT_NAMES: Final = re.compile(
    r"(point|tag|name|sensor|trend|series|signal|channel|variable|object|path|item|id|measurement)"
    r"([ _-]?(name|id|path|ref|reference))?",
    re.IGNORECASE,
)
_LIKE_TIME: Final = re.compile(
    r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[,.]?\s+)?(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}"
    r"|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}|\d{1,2}\.?[- /]?[a-z]{3,9}\.?,?[- /]?\d{2,4}\b"
    r"|[a-z]{3,9}\.?[- ]\d{1,2},?[- ]\d{4}|\d{8}[T _]?\d{4}(?:\d{2})?\b|\d{1,2}:\d{2}(?::\d{2})?(?:\s|$)"
    r"|[a-z]{3,9}\.? +\d{1,2},? +\d{1,2}:\d{2}|1\d{9}(?:\.\d*)?$|1\d{12}(?:\d{3}){0,2}$)",
    re.IGNORECASE,
)
_LIKE_NUMBER: Final = re.compile(r"[+-]?[0-9][0-9.,' ]*([eE][+-]?[0-9]+)?\s*%?")
_SUMMARY: Final = re.compile(
    r"\W*((grand |sub)?totals?|sum|average|avg\.?|mean|median|min(imum)?|max(imum)?|count|std\.?( dev\.?)?"
    r"|standard deviation|units?|(number of )?(records|rows|samples)|end( of (file|report|data|export|log))?)"
    r"\W*(:.*)?",
    re.IGNORECASE,
)
_JOINS: Final = (" ", "/", ".", "_", "-", ":", " - ")
_DELIMITER_RECORDS: Final = 40
_TIME_COLUMNS: Final = 40
_TAIL_BYTES: Final = 1 << 13
_TAIL_LINES: Final = 12
_QUOTED_LINES: Final = 5

Mapped = Callable[[str], bool]  # does a name stand for a point that the site maps?


@dataclass(frozen=True, slots=True)
class Head:
    """What an export says before its first row, and where its rows begin and end."""

    delimiter: str
    header: list[str]
    units: list[str]  # what a row of units says of each column, blank where none
    rows: list[list[str]]  # the first of them
    preamble: tuple[tuple[str, ...], ...]  # the filled cells of each line above the header
    start: int  # the byte at which the rows begin
    end: int  # the byte after the last row
    first_line: int  # of the file, counted from 1, on which the rows begin
    is_last_line_ended: bool
    notes: tuple[str, ...]
    left_out: tuple[tuple[int, str], ...]  # each line below them that is no row: its number and its text

    @property
    def has_names(self) -> bool:
        """Tell whether anything names the columns."""
        return any(self.header)


class _Record(NamedTuple):
    line: int  # counted from 0
    start: int  # the byte at which it begins
    text: str


def find_head(text: PlainText, source: Source, is_mapped: Mapped) -> Head:
    """Find the header, with what stands above it, and the end of the rows."""
    records = _records(text)
    if not records:
        raise UnreadableFileError("the file is empty")
    is_time = _time_test(source)
    delimiter, rows, time = _delimited(records, source, is_time)
    first, last = _header_rows(rows, time, source, is_time)
    names = _names(rows[first:last], rows[first - 1] if first else None, time, is_mapped)
    above = first - names.taken_above
    preamble = tuple(
        filled for row in rows[:first] if (filled := tuple(cell.strip() for cell in row if cell.strip()))
    )
    header = _by_legend(names.header, preamble, is_mapped)
    notes = [f"{_count(above, 'line')} above the header"] if above else []
    notes += names.notes
    notes += ["names by the lines above the header"] if header != names.header else []
    width = max(len(header), time + 1, len(rows[last]) if not header and last < len(rows) else 0)
    start = records[last].start if last < len(records) else len(text.content)
    end, left_out = _end_of_rows(text, start, delimiter, time, is_time)
    if left_out:
        notes.append(f"{_count(len(left_out), 'row')} of totals, units or text at the end left out")
    return Head(
        delimiter,
        header + [""] * (width - len(header)),
        names.units + [""] * (width - len(names.units)),
        [row for row, record in zip(rows[last:], records[last:], strict=True) if record.start < end],
        preamble,
        start,
        end,
        (records[last].line if last < len(records) else 0) + 1,
        text.is_last_line_ended or end < len(text.content),
        tuple(notes),
        left_out,
    )


def is_like_time(cell: str) -> bool:
    """Tell whether a cell looks like a time."""
    return _LIKE_TIME.match(cell.strip()) is not None


def is_title(cells: Sequence[str]) -> bool:
    """Tell whether cells name columns, one of them the time, and nothing of them is a time or a number."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return (
        len(filled) > 1
        and any(TIME_NAMES.fullmatch(cell) for cell in filled)
        and not any(_LIKE_TIME.match(cell) or _LIKE_NUMBER.fullmatch(cell) for cell in filled)
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _records(text: PlainText) -> list[_Record]:
    """Return the first records that are not blank; one whose quotes are open goes on in the next line."""
    lines = text.first_lines()
    if b'"' not in text.content[:SAMPLE_BYTES]:
        starts = itertools.accumulate((len(line) + 1 for line in lines), initial=0)
        return [
            _Record(number, start, line.decode("utf-8", errors="replace").rstrip("\r"))
            for number, (start, line) in enumerate(zip(starts, lines, strict=False))
            if line and not line.isspace()
        ]
    found: list[_Record] = []
    place, line = 0, 0
    while line < len(lines):
        taken = 1
        if lines[line].count(b'"') % 2:
            for more in range(1, min(_QUOTED_LINES, len(lines) - line)):
                if lines[line + more].count(b'"') % 2:
                    taken = more + 1
                    break
        raw = lines[line] if taken == 1 else b"\n".join(lines[line : line + taken])
        if raw.strip():
            found.append(_Record(line, place, raw.decode("utf-8", errors="replace").rstrip("\r")))
        place += len(raw) + 1
        line += taken
    return found


def _time_test(source: Source) -> Callable[[str], bool]:
    """Return the test for cells that look like a time: by the source's format, where it gives one."""

    def fits(cell: str) -> bool:
        if _LIKE_TIME.match(cell.strip()):
            return True
        if source.time_format is None:
            return False
        try:
            dt.datetime.strptime(cell.strip(), source.time_format)
        except ValueError:
            return False
        return True

    return fits


def _delimited(
    records: Sequence[_Record], source: Source, is_time: Callable[[str], bool]
) -> tuple[str, list[list[str]], int]:
    """Find the mark that parts the lines into equally many cells, one of them a time; and that column."""
    best: tuple[tuple[int, int, int], str, int] | None = None
    for mark in DELIMITERS if source.delimiter is None else (source.delimiter,):
        if not any(mark in record.text for record in records[:_DELIMITER_RECORDS]):
            continue
        rows = [split_line(record.text, mark) for record in records[:_DELIMITER_RECORDS]]
        widths = Counter(len(row) for row in rows if len(row) > 1)
        if not widths:
            continue
        width, alike = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
        times = Counter(
            column
            for row in rows
            if len(row) > 1
            for column, cell in enumerate(row[:_TIME_COLUMNS])
            if is_time(cell)
        )
        column, count = max(times.items(), key=lambda pair: (pair[1], -pair[0])) if times else (0, 0)
        score = (count, alike, width)
        if best is None or score > best[0]:
            best = (score, mark, column)
    if best is None:
        raise UnreadableFileError(
            "every line is one cell: a header of a time and at least one point, parted by commas, is expected"
        )
    _, mark, column = best
    return mark, [split_line(record.text, mark) for record in records], column


def _header_rows(
    rows: Sequence[Sequence[str]], time: int, source: Source, is_time: Callable[[str], bool]
) -> tuple[int, int]:
    """Return the places [first, last) of the rows that name the columns; the data begin at `last`."""

    def is_title(row: Sequence[str]) -> bool:
        filled = [cell.strip() for cell in row if cell.strip()]
        return len(filled) > 1 and not any(is_time(cell) or _LIKE_NUMBER.fullmatch(cell) for cell in filled)

    def has_time(place: int) -> bool:
        return place < len(rows) and time < len(rows[place]) and is_time(rows[place][time])

    for place, row in enumerate(rows):
        is_named = any(_is_time_name(cell, source) for cell in row)
        if is_named and len([cell for cell in row if cell.strip()]) > 1 and not any(map(is_time, row)):
            return place, place + 1 + _goes_on(rows, place + 1, time, source, is_title, has_time)
    for place in range(len(rows)):
        ahead = [has_time(later) for later in range(place, min(place + 6, len(rows)))]
        if not ahead[0] or sum(ahead) < len(ahead) / 2:
            continue
        if len(ahead) > 2 and not ahead[1] and ahead[2] and is_title(rows[place + 1]):
            continue  # a line about the export's own time, above the header
        return max(place - 1, 0), place
    wide = next((place for place, row in enumerate(rows) if len(row) > 1), 0)
    return wide, wide + 1


def _is_time_name(cell: str, source: Source) -> bool:
    return TIME_NAMES.fullmatch(cell.strip()) is not None or cell.strip() == source.time_column


def _goes_on(
    rows: Sequence[Sequence[str]],
    place: int,
    time: int,
    source: Source,
    is_title: Callable[[Sequence[str]], bool],
    has_time: Callable[[int], bool],
) -> int:
    """Return how many rows under the header's first go on with it: names, units, or names and units."""
    if place >= len(rows) or has_time(place):
        return 0
    row = rows[place]
    if are_units(cell for column, cell in enumerate(row) if column != time):
        return int(has_time(place + 1))
    is_blank_time = len(row) > time and (not row[time].strip() or _is_time_name(row[time], source))
    if not is_blank_time or not is_title([*row, "x", "x"]):
        return 0
    if has_time(place + 1):
        return 1
    are_below = place + 1 < len(rows) and are_units(
        cell for column, cell in enumerate(rows[place + 1]) if column != time
    )
    return 2 if are_below and has_time(place + 2) else 0


@dataclass(frozen=True, slots=True)
class _Names:
    header: list[str]
    units: list[str]
    notes: list[str]
    taken_above: int = 0


def _names(
    head: Sequence[Sequence[str]], above: Sequence[str] | None, time: int, is_mapped: Mapped
) -> _Names:
    """Return the name of each column, from one row or from two."""
    if not head:
        return _Names([], [], ["no header line"])
    lower = [_in_one_line(cell) for cell in head[-1]]
    if len(head) > 1:
        upper = [_in_one_line(cell) for cell in head[0]]
        if are_units(cell for column, cell in enumerate(lower) if column != time):
            over = _names(head[:-1], None, time, is_mapped) if len(head) > 2 else _Names(upper, [], [])
            return _Names(over.header, lower, [*over.notes, "units in a row of their own"])
        return _Names(_of_two_rows(upper, lower, time, is_mapped), [], ["two header rows"])
    if above is None or len(above) != len(lower) or not any(cell.strip() for cell in above):
        return _Names(lower, [], [])
    joined = _of_two_rows([_in_one_line(cell) for cell in above], lower, time, is_mapped, prefers_lower=True)
    if joined == lower:
        return _Names(lower, [], [])
    return _Names(joined, [], ["two header rows"], taken_above=1)


def _by_legend(header: Sequence[str], preamble: Sequence[Sequence[str]], is_mapped: Mapped) -> list[str]:
    """Put the points' names for the keys that stand for them, where lines above the header say which."""
    meant = {line[0].rstrip(" :"): line[1] for line in preamble if len(line) > 1 and is_mapped(line[1])}
    return [name if POINT_NAMES.fullmatch(name) else meant.get(name, name) for name in header]


def _in_one_line(cell: str) -> str:
    return " ".join(cell.split())


def _of_two_rows(
    upper: Sequence[str], lower: Sequence[str], time: int, is_mapped: Mapped, *, prefers_lower: bool = False
) -> list[str]:
    """Choose the names that the site maps: those of one row, or of both joined; a group's name goes on."""
    width = max(len(upper), len(lower), time + 1)
    first = [*upper, *[""] * (width - len(upper))]
    second = [*lower, *[""] * (width - len(lower))]
    groups: list[str] = []
    for column, cell in enumerate(first):
        groups.append(cell if cell or column == 0 or column - 1 == time else groups[-1])
    candidates = [second, first] if prefers_lower else [first, second]
    for join in _JOINS:
        candidates.append([join.join(filter(None, pair)) for pair in zip(groups, second, strict=True)])
    clock = next((cell for cell in (second[time], first[time]) if TIME_NAMES.fullmatch(cell)), "")
    for names in candidates:
        names[time] = clock or names[time]
    known = [sum(map(is_mapped, names)) for names in candidates]
    if max(known):
        return candidates[known.index(max(known))]
    own = [name for name in candidates[0] if name]
    is_whole = len(set(own)) == len(own) and (prefers_lower or len(own) == width)
    return candidates[0 if is_whole else 2]


def _end_of_rows(
    text: PlainText, start: int, delimiter: str, time: int, is_time: Callable[[str], bool]
) -> tuple[int, tuple[tuple[int, str], ...]]:
    """Return the byte after the last row, and the lines below it that are no readings, as in `Head`."""
    end = len(text.content)
    left_out: list[tuple[int, str]] = []  # from below, each with the byte at which it begins
    tail_start = max(start, end - _TAIL_BYTES)
    lines = text.content[tail_start:].split(b"\n")
    is_ended = lines[-1] == b""
    for raw in reversed(lines[max(len(lines) - _TAIL_LINES, 1 if tail_start > start else 0) :]):
        line = raw.decode("utf-8", errors="replace").rstrip("\r")
        if line.strip():
            if not _is_no_reading(split_line(line.strip(), delimiter), time, is_time, is_ended=is_ended):
                break
            end = max(len(text.content) - _bytes_from(lines, raw), start)
            left_out.append((end, line))
        is_ended = True
    above = text.content.count(b"\n", 0, end) if left_out else 0
    numbered = ((above + text.content.count(b"\n", end, place) + 1, line) for place, line in left_out)
    return end, tuple(numbered)[::-1]


def _bytes_from(lines: Sequence[bytes], raw: bytes) -> int:
    """Return how many bytes a line and all after it take."""
    place = next(number for number in range(len(lines) - 1, -1, -1) if lines[number] is raw)
    return sum(len(line) for line in lines[place:]) + len(lines) - 1 - place


def _is_no_reading(cells: list[str], time: int, is_time: Callable[[str], bool], *, is_ended: bool) -> bool:
    """Tell a row of totals, of units or of text from one whose time cannot be read."""
    if time < len(cells) and is_time(cells[time]):
        return False
    words = [cells[0], *cells[time : time + 1]]
    if any(_SUMMARY.fullmatch(word.strip()) for word in words):
        return True
    if len(cells) == 1:
        return is_ended and re.match(r"[A-Za-z*#=-]", cells[0]) is not None
    is_blank = time < len(cells) and not cells[time].strip()
    return is_blank and are_units(cell for column, cell in enumerate(cells) if column != time)
