"""Zip files taken apart: each member an export of its own, under a name that is never a path."""

import io
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Final

from service.intake.text import ZIP_MARK

UNPACKED_LIMIT: Final = 1 << 30
MEMBER_LIMIT: Final = 10_000


def members_of(file: str, content: bytes) -> list[tuple[str, bytes]]:
    """Return a zip's members by name, or the file itself where it is no zip or none that can be opened.

    What is left whole is refused where it is read, with its reason. Nothing is unpacked to the disk; sizes
    are counted as they unpack, whatever the zip says of them.
    """
    if not content.startswith(ZIP_MARK):
        return [(file, content)]
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            infos = [
                info for info in archive.infolist() if not info.is_dir() and not _is_hidden(info.filename)
            ]
            if len(infos) > MEMBER_LIMIT or any("Content_Types" in info.filename for info in infos):
                return [(file, content)]
            found, left = [], UNPACKED_LIMIT
            for info in sorted(infos, key=lambda info: info.filename):
                with archive.open(info) as member:
                    unpacked = member.read(left + 1)
                left -= len(unpacked)
                if left < 0:
                    return [(file, content)]
                found.append((f"{file}/{_label(info.filename)}", unpacked))
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError, NotImplementedError, ValueError):
        return [(file, content)]
    return found or [(file, content)]


def _is_hidden(name: str) -> bool:
    return any(part.startswith((".", "__MACOSX")) and part != ".." for part in _parts(name))


def _label(name: str) -> str:
    """Return a member's name as a plain label: no root, no way up, no unprintable sign."""
    kept = [part for part in _parts(name) if part not in ("..", ".", "/")]
    return "".join(letter for letter in "/".join(kept) if letter.isprintable()) or "unnamed"


def _parts(name: str) -> tuple[str, ...]:
    return PurePosixPath(name.replace("\\", "/")).parts
