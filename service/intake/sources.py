"""Where exports come from: a folder or any place that fsspec reaches."""

import datetime as dt
import fnmatch
import posixpath
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fsspec
from fsspec.implementations.local import LocalFileSystem

from config.secrets import MissingSecret, resolve_secrets, without_password
from config.site import Source
from service.store.readings import microseconds


class SourceDownError(OSError):
    """A source that cannot be listed; its message says which and why."""


class StillWrittenError(OSError):
    """A file that grew while it was read: it waits for the next pass."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A file that a source offers."""

    source: Source
    file: str  # its name within the source
    path: str  # its name on the source's file system
    size: int | None
    modified_us: int  # 0 where the source does not say


class OpenSource:
    """A source with the file system it is on."""

    def __init__(self, source: Source, site_folder: Path) -> None:
        """Connect to a source; nothing is listed yet."""
        self.source = source
        try:
            url = resolve_secrets(source.url, site_folder)
            if "://" not in url:
                url = str((site_folder / url).absolute())
            self._files, self._root = fsspec.core.url_to_fs(url)
        except (MissingSecret, ImportError, ValueError, OSError) as error:
            raise SourceDownError(self._problem(error)) from error

    def offers(self) -> list[Offer]:
        """List the files whose names fit, in the order of their names."""
        try:
            found = self._listed()
        except (OSError, LookupError, ValueError) as error:
            raise SourceDownError(self._problem(error)) from error
        return sorted(found, key=lambda offer: offer.file)

    def fetch(self, offer: Offer) -> bytes:
        """Return a file's bytes; raise StillWrittenError where it is growing."""
        content: bytes = self._files.cat_file(offer.path)
        self._files.invalidate_cache()
        after = _offer(self.source, self._root, self._files.info(offer.path))
        is_grown = after.size is not None and after.size != len(content)
        if is_grown or (offer.modified_us and after.modified_us != offer.modified_us):
            raise StillWrittenError(f"{offer.file} changed while it was read: it is taken in the next pass")
        return content

    def _listed(self) -> list[Offer]:
        self._files.invalidate_cache()
        if not isinstance(self._files, LocalFileSystem) and self._files.isfile(self._root):
            return [_offer(self.source, posixpath.dirname(self._root), self._files.info(self._root))]
        if isinstance(self._files, LocalFileSystem) and not Path(self._root).is_dir():
            raise FileNotFoundError(f"there is no folder {self._root}")
        pattern = self.source.files
        if "/" in pattern or "**" in pattern:
            infos: Sequence[dict[str, Any]] = list(self._files.find(self._root, detail=True).values())
        else:
            infos = self._files.ls(self._root, detail=True)
        offers = [_offer(self.source, self._root, info) for info in infos if info.get("type") == "file"]
        return [offer for offer in offers if _fits(offer.file, pattern)]

    def _problem(self, error: Exception) -> str:
        place = without_password(self.source.url)
        return f"source {self.source.name} ({place}) cannot be reached: {error}"


def _offer(source: Source, root: str, info: dict[str, Any]) -> Offer:
    path = str(info["name"])
    file = posixpath.relpath(path, root) if path.startswith(root) else posixpath.basename(path)
    size = info.get("size")
    return Offer(source, file, path, None if size is None else int(size), _modified_us(info))


def _modified_us(info: dict[str, Any]) -> int:
    for key in ("mtime", "LastModified", "last_modified", "modified", "updated"):
        given = info.get(key)
        if isinstance(given, int | float):
            return round(given * 1_000_000)
        if isinstance(given, dt.datetime):
            return microseconds(given if given.tzinfo else given.replace(tzinfo=dt.UTC))
    return 0


def _fits(file: str, pattern: str) -> bool:
    """Match a name against a pattern without case; `**/` is any folder or none, hidden files never fit."""
    if any(part.startswith(".") for part in file.split("/")):
        return False
    patterns = [pattern.casefold()]
    if patterns[0].startswith("**/"):
        patterns.append(patterns[0][3:])
    return any(fnmatch.fnmatchcase(file.casefold(), wanted) for wanted in patterns)
