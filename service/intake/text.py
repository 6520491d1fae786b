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
ZIP_MARK: Final = b"PK\x03\x04"
_UTF16_BYTES: Final = 1 << 10
_NUL_SHARE: Final = 0.02


class UnreadableFileError(ValueError):
    """A file of which nothing can be read; its message says why and what to do."""


@dataclass(slots=True)
class PlainText:
    """An export's text as UTF-8 without a byte order mark, with one line end at its end or none."""

    content: bytes
    encoding: str
    is_last_line_ended: bool

    def release(self) -> None:
        """Let the text go: whoever reads it is done with it."""
        self.content = b""

    def first_lines(self) -> list[bytes]:
        """Return the first lines, without their ends."""
        lines = self.content[:SAMPLE_BYTES].split(b"\n")
        if len(self.content) > SAMPLE_BYTES:
            lines = lines[:-1] or lines  # the last one may be cut by the sample's own end
        return lines[:SAMPLE_LINES]


def plain_text(content: bytes, encoding: str | None = None) -> PlainText:
    """Return an export's bytes as plain text, decoded by the encoding that its source gives or by looking."""
    if content[:2] == b"\x1f\x8b":
        content = _unpacked(content)
    if content.startswith(ZIP_MARK):
        raise UnreadableFileError(problem_of_zip(content))
    if content.lstrip()[:1] in (b"<", b"{"):
        raise UnreadableFileError("the file is a web page, XML or JSON: export it as comma-separated values")
    content, encoding = _decoded(content) if encoding is None else _decoded_by(content, encoding)
    if b"\r" in content and b"\n" not in content:
        content = content.replace(b"\r", b"\n")
    if not content or content.isspace():
        raise UnreadableFileError("the file is empty")
    is_ended = content.endswith(b"\n")
    if content.endswith((b"\n\n", b"\n\r\n")):
        content = content.rstrip(b"\r\n") + b"\n"
    return PlainText(content, encoding, is_ended)


def problem_of_zip(content: bytes) -> str:
    """Return why a zip file that could not be taken apart cannot be read."""
    if b"[Content_Types].xml" in content[: 1 << 12]:
        return "the file is a workbook: export it as comma-separated values"
    return (
        "the zip file is damaged, not whole yet, locked, too large, or lies within another: export it plainly"
    )


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
    for place, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        half = content[:_UTF16_BYTES][place::2]
        if (
            len(half) > 4
            and half.count(0) > 0.6 * len(half)
            and not content[:_UTF16_BYTES][1 - place :: 2].count(0)
        ):
            try:
                return content.decode(encoding).encode(), "UTF-16 without mark"
            except UnicodeDecodeError:
                continue
    if b"\0" in content:
        content = _without_nuls(content)
    try:
        if not content.isascii():
            content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace").encode(), "Windows-1252"
    return content, "UTF-8"


def _decoded_by(content: bytes, encoding: str) -> tuple[bytes, str]:
    try:
        return content.decode(encoding).removeprefix("\ufeff").replace("\0", " ").encode(), encoding
    except UnicodeError as error:
        raise UnreadableFileError(f"the file is not {encoding}, the source's encoding ({error})") from None


def _without_nuls(content: bytes) -> bytes:
    """Put a blank for a stray NUL; a tail of them is a file that was cut while it was written."""
    content = content.rstrip(b"\0")
    if content.count(0) > _NUL_SHARE * len(content):
        raise UnreadableFileError("the file is not text: export it as comma-separated values")
    return content.replace(b"\0", b" ")


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, quotes taken off."""
    if '"' not in line:
        cells = line.split(delimiter)
        has_space = line.startswith(" ") or f"{delimiter} " in line
        return [cell.lstrip(" ") for cell in cells] if has_space else cells
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.split(delimiter)
