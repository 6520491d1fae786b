"""Where exports come from: a folder or any place that fsspec reaches."""

import datetime as dt
import email.utils
import fnmatch
import posixpath
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import unquote, urlsplit

from config.secrets import without_password
from config.site import Source
from service.intake.places import Place, reach
from service.store.readings import microseconds


class SourceDownError(OSError):
    """A source that cannot be reached; its message says which and why."""


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
    """A source with the file system it is on. A context manager: a server's connection ends with it."""

    def __init__(self, source: Source, site_folder: Path) -> None:
        """Connect to a source; nothing is listed yet."""
        self.source = source
        self._place = Place(None, "")
        try:
            self._place = reach(source, site_folder)
        except Exception as error:  # each file system raises kinds of its own
            raise SourceDownError(self._problem(error)) from error
        self._files, self._root = self._place.files, self._place.root

    def __enter__(self) -> Self:
        """Use the source."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the connection."""
        self._place.close()

    def offers(self) -> list[Offer]:
        """List the files whose names fit, in the order of their names."""
        try:
            found = self._listed()
        except Exception as error:  # each file system raises kinds of its own
            raise SourceDownError(self._problem(error)) from error
        return sorted(found, key=lambda offer: offer.file)

    def fetch(self, offer: Offer) -> tuple[Offer, bytes]:
        """Return a file's bytes and what its source says of it; raise StillWrittenError where it is growing.

        A file of a folder that cannot be read raises OSError; a server that no longer answers is down.
        """
        try:
            content: bytes = self._files.cat_file(offer.path)
            self._files.invalidate_cache()
            after = self._offer(self._files.info(offer.path))
        except FileNotFoundError:
            raise
        except Exception as error:  # each file system raises kinds of its own
            if self._place.is_local or isinstance(error, PermissionError):
                raise
            raise SourceDownError(self._problem(error)) from error
        is_grown = after.size is not None and after.size != len(content)
        if is_grown or (offer.modified_us and after.modified_us != offer.modified_us):
            raise StillWrittenError(f"{offer.file} changed while it was read: it is taken in the next pass")
        return replace(offer, modified_us=after.modified_us), content

    def _listed(self) -> list[Offer]:
        self._files.invalidate_cache()
        if self._place.is_local:
            if not Path(self._root).is_dir():
                raise FileNotFoundError(f"there is no folder {self._root}")
        elif self._is_one_file():
            return [self._offer(self._files.info(self._root))]
        pattern = self.source.files
        if "/" in pattern or "**" in pattern:
            infos: Sequence[dict[str, Any]] = list(self._files.find(self._root, detail=True).values())
        else:
            infos = self._files.ls(self._root, detail=True)
        offers = [self._offer(info) for info in infos if info.get("type") == "file"]
        return [offer for offer in offers if _fits(offer.file, pattern)]

    def _is_one_file(self) -> bool:
        """Tell a URL of a file from one of a folder; a page that lists files is a folder of them."""
        if not self._is_web:
            return bool(self._files.isfile(self._root))
        if urlsplit(self._root).path.endswith("/"):
            return False
        return bool(self._files.info(self._root).get("mimetype") != "text/html")

    @property
    def _is_web(self) -> bool:
        return self._root.startswith(("http://", "https://"))

    def _offer(self, info: dict[str, Any]) -> Offer:
        path, folder = str(info["name"]), self._root.rstrip("/") + "/"
        file = path.removeprefix(folder) if path.startswith(folder) else posixpath.basename(path)
        if self._is_web:
            file = unquote(urlsplit(file).path)
        size = info.get("size")
        return Offer(self.source, file, path, None if size is None else int(size), _modified_us(info))

    def _problem(self, error: Exception) -> str:
        place = without_password(self.source.url)
        said = str(error) or type(error).__name__
        if error.__cause__ is not None and str(error.__cause__) not in said:
            said = f"{said}: {error.__cause__}"  # a file system may say where and leave why to its cause
        for secret in self._place.secrets:
            said = said.replace(secret, "***")
        return f"source {self.source.name} ({place}) cannot be reached: {said}"


def _modified_us(info: dict[str, Any]) -> int:
    for key in ("mtime", "LastModified", "last_modified", "modified", "updated", "Last-Modified"):
        given = info.get(key)
        if isinstance(given, int | float):
            return round(given * 1_000_000)
        if isinstance(given, dt.datetime):
            return microseconds(given if given.tzinfo else given.replace(tzinfo=dt.UTC))
        if isinstance(given, str) and key == "Last-Modified":
            return _of_header(given)
    return 0


def _of_header(text: str) -> int:
    """Read the date of an HTTP header (RFC 9110, section 5.6.7); 0 where it is none."""
    try:
        said = email.utils.parsedate_to_datetime(text)
    except ValueError:
        return 0
    return microseconds(said if said.tzinfo else said.replace(tzinfo=dt.UTC))


def _fits(file: str, pattern: str) -> bool:
    """Match a name against a pattern without case; `**/` is any folder or none, hidden files never fit."""
    if any(part.startswith(".") for part in file.split("/")):
        return False
    patterns = [pattern.casefold()]
    if patterns[0].startswith("**/"):
        patterns.append(patterns[0][3:])
    return any(fnmatch.fnmatchcase(file.casefold(), wanted) for wanted in patterns)
