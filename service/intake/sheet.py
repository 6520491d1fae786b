"""The columns of an export, read fast where every line is alike and line by line where one is not."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from service.intake.head import Head
from service.intake.numbers import MISSING_SPELLINGS, plain_numbers
from service.intake.text import PlainText, split_line
from service.intake.times import encoded_texts

TEXT: Final = "text"
REPEATED: Final = "repeated"  # text of which the same cells come again and again: times, names of points
NUMBER: Final = "number"
_CONVERSION_COLUMN: Final = re.compile(r"In CSV column #(\d+): CSV conversion error")
_BLOCK_BYTES: Final = 1 << 22
_SMALL_BYTES: Final = 1 << 15
_TYPES: Final = {
    TEXT: pa.string(),
    REPEATED: pa.dictionary(pa.int32(), pa.string()),
    NUMBER: pa.float64(),
}


@dataclass(frozen=True, slots=True)
class LineFault:
    """Something wrong with a line as such: from a column on, or from its first (`column` None)."""

    row: int  # of the sheet, counted from 0
    column: int | None
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """The wanted columns of an export: numbers with nulls where missing, or texts.

    A column asked for as repeated text may hold each distinct cell once, as a dictionary.
    """

    columns: Mapping[int, pa.ChunkedArray]
    row_count: int
    lines: NDArray[np.int64] | None  # the line of each row in the file; None: one after the other
    faults: Sequence[LineFault] = field(default=())
    first_line: int = 2

    def line(self, row: int) -> int:
        """Return the line of the file that a row was on, the first being 1."""
        return row + self.first_line if self.lines is None else int(self.lines[row])

    def is_text(self, column: int) -> bool:
        """Tell whether a column came as texts."""
        return bool(pa.types.is_string(self.columns[column].type))


def read_sheet(text: PlainText, head: Head, decimal: str, wanted: Mapping[int, str]) -> Sheet:
    """Read the wanted columns, each as text or, where every cell allows it, as numbers."""
    if head.start >= head.end:
        return _lines_sheet([], wanted, np.empty(0, dtype=np.int64), [])
    is_small = decimal == "." and head.end - head.start <= _SMALL_BYTES
    quick = _small(text, head, wanted) if is_small else _fast(text, head, decimal, dict(wanted))
    return _careful(text, head, wanted) if quick is None else quick


def _small(text: PlainText, head: Head, wanted: Mapping[int, str]) -> Sheet | None:
    """Read plain lines at once: what the columnar reader takes to begin is more than they need.

    None where a line is not like the others.
    """
    body = text.content[head.start : head.end].decode("utf-8").replace("\r\n", "\n")
    if '"' in body or "\r" in body:
        return None
    lines = body.removesuffix("\n").split("\n")
    width = len(head.header)
    if any(line.count(head.delimiter) != width - 1 for line in lines):
        return None
    cells = head.delimiter.join(lines).split(head.delimiter)
    columns = {}
    for column, kind in wanted.items():
        texts = cells[column::width]
        numbers = plain_numbers(texts) if kind == NUMBER else None
        array = pa.array(texts, type=pa.string()) if numbers is None else pa.array(numbers)
        columns[column] = pa.chunked_array([array])
    return Sheet(columns, len(lines), None, first_line=head.first_line)


def _fast(text: PlainText, head: Head, decimal: str, wanted: dict[int, str]) -> Sheet | None:
    """Read with the columnar reader; None where a line is not like the others."""
    is_ended = text.content[head.end - 1 : head.end] == b"\n"
    line_count = text.content.count(b"\n", head.start, head.end) + (not is_ended)
    body = pa.py_buffer(text.content).slice(head.start, head.end - head.start)
    while True:
        try:
            table = _columnar(body, len(head.header), head.delimiter, decimal, wanted)
        except pa.ArrowInvalid as error:
            found = _CONVERSION_COLUMN.search(str(error))
            if found is None:
                return None
            _read_as_text(wanted, int(found[1]))
            continue
        if table.num_rows != line_count:  # a line was blank, or a quote swallowed line ends
            return None
        columns = {column: _in_one(table.column(str(column))) for column in wanted}
        return Sheet(columns, line_count, None, first_line=head.first_line)


def _in_one(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Give a dictionary column one dictionary, in one piece; others stay as they are."""
    return pa.chunked_array([encoded_texts(column)]) if pa.types.is_dictionary(column.type) else column


def _read_as_text(wanted: dict[int, str], faulty: int) -> None:
    """Ask for the faulty column as text, and for all of them once several are faulty."""
    is_second = sum(kind != NUMBER for kind in wanted.values()) > 4
    for column in wanted if is_second else (faulty,):
        if wanted[column] == NUMBER:
            wanted[column] = TEXT


def _columnar(
    body: pa.Buffer, width: int, delimiter: str, decimal: str, wanted: Mapping[int, str]
) -> pa.Table:
    types = {str(column): _TYPES[kind] for column, kind in wanted.items()}
    return pacsv.read_csv(
        pa.BufferReader(body),
        # One block after the other: threads parse ahead of what is converted, and hold all that in memory.
        read_options=pacsv.ReadOptions(
            column_names=[str(column) for column in range(width)], block_size=_BLOCK_BYTES, use_threads=False
        ),
        parse_options=pacsv.ParseOptions(delimiter=delimiter, newlines_in_values=False),
        convert_options=pacsv.ConvertOptions(
            column_types=types,
            include_columns=list(types),
            null_values=list(MISSING_SPELLINGS),
            strings_can_be_null=False,
            decimal_point=decimal,
        ),
    )


def _careful(text: PlainText, head: Head, wanted: Mapping[int, str]) -> Sheet:
    """Read line by line: blank lines skipped, short and long lines kept with what is wrong with them."""
    rows: list[list[str]] = []
    lines: list[int] = []
    faults: list[LineFault] = []
    width = len(head.header)
    body = text.content[head.start : head.end].decode("utf-8")
    for line, cells, raw in _records(body, head.delimiter, width):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            reason = f"the line has {len(cells)} cells, the header {width}"
            faults.append(LineFault(len(rows), None, raw, reason))
        padding = [""] * (width - len(cells))
        rows.append([*cells[:width], *padding])
        lines.append(line + head.first_line - 1)
    if rows and not head.is_last_line_ended:
        last = split_line(body.rpartition("\n")[2], head.delimiter)
        if len(last) < width and last[-1].strip():
            reason = "the file ends within this line: it was not whole yet"
            faults.append(LineFault(len(rows) - 1, len(last) - 1, last[-1], reason))
    return _lines_sheet(rows, wanted, np.array(lines, dtype=np.int64), faults)


def _records(text: str, delimiter: str, width: int) -> Iterator[tuple[int, list[str], str]]:
    """Yield each record with its line's number; a quote that swallows lines is taken as a plain mark."""
    raw = text.split("\n")
    place = 0
    while place < len(raw):
        first = place
        reader = csv.reader((raw[line] for line in range(first, len(raw))), delimiter=delimiter)
        for cells in _until_csv_error(reader):
            taken = first + reader.line_num - place
            if taken > 1 and len(cells) != width:
                yield place + 1, raw[place].rstrip("\r").split(delimiter), raw[place]
                place += 1
                break
            yield place + 1, cells, raw[place]
            place += taken
        else:
            if place < len(raw):
                yield place + 1, raw[place].rstrip("\r").split(delimiter), raw[place]
                place += 1


def _until_csv_error(reader: Iterator[list[str]]) -> Iterator[list[str]]:
    try:
        yield from reader
    except csv.Error:
        return


def _lines_sheet(
    rows: list[list[str]],
    wanted: Mapping[int, str],
    lines: NDArray[np.int64],
    faults: list[LineFault],
) -> Sheet:
    columns = {
        column: pa.chunked_array([pa.array([row[column] for row in rows], type=pa.string())])
        for column in wanted
    }
    return Sheet(columns, len(rows), lines, faults)
