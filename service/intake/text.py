"""From the bytes of an export to lines of text and the marks that part its cells."""

import csv
import gzip
import io
import zlib
from dataclasses import dataclass
from typing import Final

DELIMITERS: Final = (",", ";", "\t", "|")
DELIMITER_NAMES: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
UNPACKED_LIMIT: Final = 4 << 30
SAMPLE_BYTES: Final = 1 << 16
SAMPLE_LINES: Final = 200
_DELIMITER_LINES: Final = 50
_NUL_SHARE: Final = 0.02


class UnreadableFileError(ValueError):
    """A file of which nothing can be read; its message says why and what to do."""


@dataclass(frozen=True, slots=True)
class PlainText:
    """An export's text as UTF-8 without a byte order mark, with one line end at its end or none."""

    content: bytes
    encoding: str
    is_last_line_ended: bool

    def sample(self) -> list[str]:
        """Return the first lines."""
        lines = self.content[:SAMPLE_BYTES].decode("utf-8", errors="replace").splitlines()
        if len(self.content) > SAMPLE_BYTES:
            lines = lines[:-1] or lines  # the last one may be cut by the sample's own end
        return lines[:SAMPLE_LINES]


def plain_text(content: bytes) -> PlainText:
    """Return an export's bytes as plain text."""
    if content[:2] == b"\x1f\x8b":
        content = _unpacked(content)
    content, encoding = _decoded(content)
    if b"\r" in content and b"\n" not in content:
        content = content.replace(b"\r", b"\n")
    if not content or content.isspace():
        raise UnreadableFileError("the file is empty")
    is_ended = content.endswith(b"\n")
    if content.endswith((b"\n\n", b"\n\r\n")):
        content = content.rstrip(b"\r\n") + b"\n"
    return PlainText(content, encoding, is_ended)


def _unpacked(content: bytes) -> bytes:
    try:
        with gzip.open(io.BytesIO(content)) as file:
            unpacked = file.read(UNPACKED_LIMIT + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise UnreadableFileError(f"the gzip file is damaged or not whole yet ({error})") from None
    if len(unpacked) > UNPACKED_LIMIT:
        raise UnreadableFileError(f"the gzip file holds more than {UNPACKED_LIMIT >> 30} GiB; split it")
    return unpacked


def _decoded(content: bytes) -> tuple[bytes, str]:
    for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if content.startswith(mark):
            try:
                return content[2:].decode(encoding).encode(), "UTF-16"
            except UnicodeDecodeError as error:
                raise UnreadableFileError(f"the file is marked UTF-16 but is not ({error})") from None
    content = content.removeprefix(b"\xef\xbb\xbf")
    if b"\0" in content:
        content = _without_nuls(content)
    try:
        if not content.isascii():
            content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace").encode(), "Windows-1252"
    return content, "UTF-8"


def _without_nuls(content: bytes) -> bytes:
    """Put a blank for a stray NUL; a tail of them is a file that was cut while it was written."""
    content = content.rstrip(b"\0")
    if content.count(0) > _NUL_SHARE * len(content):
        raise UnreadableFileError("the file is not text: export it as comma-separated values")
    return content.replace(b"\0", b" ")


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, quotes taken off."""
    if '"' not in line:
        return [cell.lstrip(" ") for cell in line.split(delimiter)]
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.split(delimiter)


def find_delimiter(lines: list[str], given: str | None) -> str:
    """Return the mark that parts the header and the lines below it into equally many cells."""
    if given is not None:
        return given
    best, best_score = "", (0, 0)
    for mark in DELIMITERS:
        widths = [len(split_line(line, mark)) for line in lines[:_DELIMITER_LINES] if line.strip()]
        if widths[0] < 2:
            continue
        score = (sum(width == widths[0] for width in widths), widths[0])
        if score > best_score:
            best, best_score = mark, score
    if not best:
        raise UnreadableFileError(
            "line 1 is one cell: a header of a time and at least one point, parted by commas, is expected"
        )
    return best
