"""How a CSV of the site folder is read: names matched, rows numbered as an editor numbers them."""

import csv
import io
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Generic

from pydantic_core import ErrorDetails

from config.faults import Fault, FaultySite, advice, nearest
from config.table import Kind, read_table
from config.unread import UNREAD

_DELIMITERS: Final = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: the line it begins on and its cells that are not blank, by column name."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Reading(Generic[Kind]):
    """One row as a table of its columns: its line, what was given in it, and why what is UNREAD is."""

    line: int
    table: Kind
    given: frozenset[str]
    refused: tuple[ErrorDetails, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A CSV with a header: its columns, its rows and the faults found on the way."""

    columns: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    faults: tuple[Fault, ...]
    delimiter: str

    def meant(self, known: Collection[str]) -> dict[str, str]:
        """Return the known column that each unknown one seems to be, where that is not there itself."""
        absent = [name for name in known if name not in self.columns]
        unknown = [name for name in self.columns if name and name not in known]
        guesses = {name: nearest(name, absent) for name in unknown}
        return {name: guess for name, guess in guesses.items() if guess is not None}

    def readings(self, kind: type[Kind]) -> Iterator["Reading[Kind]"]:
        """Yield each row as a table that knows the sheet's columns.

        What stands under a misspelt column is UNREAD in the column that is meant, and no cell is called
        missing where its whole column is: both are said of the header, once.
        """
        known = kind.names()
        meant = self.meant(known)
        context = {"is_decimal_comma_allowed": self.delimiter != ","}
        for row in self.rows:
            given = {name: cell for name, cell in row.cells.items() if name in known}
            guessed = {meant[name]: UNREAD for name in row.cells if name in meant}
            table, found = read_table(kind, {**given, **guessed}, context)
            said = [details for details in found if details["loc"][0] in self.columns]
            yield Reading(row.line, table, frozenset(given), tuple(said))


def read_sheet(path: Path, known: tuple[str, ...], required: tuple[str, ...]) -> Sheet:
    """Read a CSV whose first line that is neither blank nor a # comment names the columns."""
    text = text_of(path)
    delimiter = delimiter_of(text)
    try:
        records = list(_records(text, delimiter))
    except csv.Error as error:
        problem = f"cannot be read as CSV ({error})"
        raise FaultySite(
            [Fault(path.name, None, None, None, problem, "close its quotation marks and save it again")]
        ) from None
    while records and records[0][1][0].startswith("#"):
        records.pop(0)
    if not records:
        remedy = f"write a header with at least {', '.join(required)}"
        raise FaultySite([Fault(path.name, 1, None, None, "has no header", remedy)])
    (header_line, header), *body = records
    columns = tuple(name.strip() for name in header)
    faults = _header_faults(path.name, header_line, columns, known, required)
    rows = []
    for line, cells in body:
        row, row_faults = _row(path.name, line, cells, columns)
        rows.append(row)
        faults.extend(row_faults)
    return Sheet(columns, tuple(rows), tuple(faults), delimiter)


def text_of(path: Path) -> str:
    """Return a CSV's text, whichever encoding a spreadsheet gave it; raise FaultySite if there is none."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise FaultySite(
            [Fault(path.name, None, None, None, f"is not in {path.parent}", "write one row a fan in it")]
        ) from None
    except OSError as error:
        problem = f"cannot be read ({error.strerror})"
        raise FaultySite([Fault(path.name, None, None, None, problem, "make it readable")]) from None
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")  # what spreadsheets write
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise FaultySite([Fault(path.name, None, None, None, "is not readable text", "save it as CSV in UTF-8")])


def delimiter_of(text: str) -> str:
    """Return what parts the columns: the mark that is most often in the header."""
    begin, end = header_span(text)
    return max(_DELIMITERS, key=text[begin:end].count)


def header_span(text: str) -> tuple[int, int]:
    """Return where the header line begins and ends, its line break left out."""
    begin = 0
    for line in text.splitlines(keepends=True):
        if line.strip() and not line.lstrip(' "').startswith("#"):
            return begin, begin + len(line.rstrip("\r\n"))
        begin += len(line)
    return begin, begin


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield line, cells
        line = reader.line_num + 1


def _header_faults(
    file: str, line: int, columns: tuple[str, ...], known: tuple[str, ...], required: tuple[str, ...]
) -> list[Fault]:
    faults = []
    for name in dict.fromkeys(columns):
        if name and name not in known:
            remedy = advice(name, known, "remove the column")
            faults.append(Fault(file, line, name, None, "is not a known column", remedy))
        if name and columns.count(name) > 1:
            faults.append(Fault(file, line, name, None, "is there twice", "keep one of the columns"))
    faults.extend(
        Fault(file, line, name, None, "is missing from the header", "add the column")
        for name in required
        if name not in columns
    )
    return faults


def _row(file: str, line: int, cells: list[str], columns: tuple[str, ...]) -> tuple[SheetRow, list[Fault]]:
    faults = []
    named: dict[str, str] = {}
    for position, cell in enumerate(cells):
        text = cell.strip()
        if not text:
            continue
        name = columns[position] if position < len(columns) else ""
        if not name:
            remedy = "name the column in the header, or put quotation marks round a text with commas"
            faults.append(Fault(file, line, f"cell {position + 1}", text, "stands under no column", remedy))
        else:
            named[name] = text
    return SheetRow(line, named), faults
