"""Where an export holds several tables: files put behind one another, or points that changed on the way."""

from collections.abc import Container, Sequence
from typing import Final

from service.intake.head import Head, Mapped, is_title
from service.intake.layouts import names_in
from service.intake.text import PlainText, split_line

_LOOKED_AT: Final = 10_000  # lines whose time could not be read


def without_repeats(
    text: PlainText, head: Head, lines: Sequence[int], captioned: int | None, is_mapped: Mapped
) -> tuple[PlainText, list[int]]:
    """Blank the repetitions of the header; return the lines at which other tables begin, counted from 1.

    Parameters: `lines`, of the file, in which no time could be read; `captioned`, the column of the values
    where a line among the rows may name another point.
    """
    whole = text.content.split(b"\n")
    cells_of = {line: _cells(whole[line - 1], head.delimiter) for line in lines[:_LOOKED_AT]}
    own = [cell for cell in head.header if cell]
    repeats = [line for line, cells in cells_of.items() if [cell for cell in cells if cell] == own]
    others: list[int] = []
    told: set[int] = set(repeats)
    for line in repeats:
        caption = _caption_above(whole, line, cells_of) if captioned is not None else None
        if caption is None:
            whole[line - 1] = b""
        else:
            others.append(caption)
            told |= set(range(caption, line))
    for line in cells_of.keys() - told:
        named = [name for name in names_in(cells_of[line]) if is_mapped(name)]
        if is_title(cells_of[line]):
            others.append(line)
        elif captioned is not None and named:  # a caption alone: the header above holds on
            title = [*head.header[:captioned], named[0], *head.header[captioned + 1 :]]
            whole[line - 1] = head.delimiter.join(title).encode()
            others.append(line)
    changed = b"\n".join(whole)
    same = text if changed == text.content else PlainText(changed, text.encoding, text.is_last_line_ended)
    return same, sorted(others)


def _cells(raw: bytes, delimiter: str) -> list[str]:
    line = raw.decode("utf-8", errors="replace").lstrip("\ufeff").rstrip("\r")
    return [" ".join(cell.split()) for cell in split_line(line, delimiter)]


def _caption_above(whole: Sequence[bytes], line: int, timeless: Container[int]) -> int | None:
    """Return the first line of the text right above a header, which is no row; None where there is none."""
    first = None
    while line > 1 and (line - 1 in timeless or not whole[line - 2].strip()):
        line -= 1
        first = line if whole[line - 1].strip() else first
    return first


def split_at(text: PlainText, lines: Sequence[int]) -> list[tuple[int, PlainText]]:
    """Return the tables that begin at the start and at some lines, each with the count of lines above it."""
    whole = text.content.split(b"\n")
    starts = [0, *(line - 1 for line in lines)]
    tables = []
    for start, end in zip(starts, [*starts[1:], len(whole)], strict=True):
        is_last = end == len(whole)
        part = b"\n".join(whole[start:end]) + (b"" if is_last else b"\n")
        tables.append((start, PlainText(part, text.encoding, text.is_last_line_ended or not is_last)))
    return tables
