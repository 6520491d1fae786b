"""Where an export holds several tables: files put behind one another, or points that changed on the way."""

from collections.abc import Sequence
from typing import Final

from service.intake.head import Head, is_title
from service.intake.text import PlainText, split_line

_LOOKED_AT: Final = 10_000  # lines whose time could not be read


def without_repeats(
    text: PlainText, head: Head, lines: Sequence[int], *, may_caption: bool
) -> tuple[PlainText, list[int]]:
    """Blank the repetitions of the header; return the lines at which other tables begin, counted from 1.

    Parameters: `lines`, of the file, in which no time could be read; `may_caption`, whether a line above a
    repetition may name another point.
    """
    whole = text.content.split(b"\n")
    others: list[int] = []
    has_repeats = False
    own = [cell for cell in head.header if cell]
    timeless = set(lines)
    for line in lines[:_LOOKED_AT]:
        raw = whole[line - 1].decode("utf-8", errors="replace").lstrip("\ufeff").rstrip("\r")
        cells = [" ".join(cell.split()) for cell in split_line(raw, head.delimiter)]
        if [cell for cell in cells if cell] == own:
            caption = _caption_above(whole, line, timeless) if may_caption else None
            if caption is not None:
                others.append(caption)
                continue
            whole[line - 1] = b""
            has_repeats = True
        elif is_title(cells):
            others.append(line)
    if not has_repeats:
        return text, others
    return PlainText(b"\n".join(whole), text.encoding, text.is_last_line_ended), others


def _caption_above(whole: Sequence[bytes], line: int, timeless: set[int]) -> int | None:
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
