"""The files of a Delta table as of one version: which they are, and reading and writing them as bytes."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any, Final
from urllib.parse import unquote

import fsspec
from deltalake import DeltaTable

from service.store.delta import APPLICATION

_LOG: Final = "_delta_log"
_ENTRY: Final = re.compile(r"(\d{20})\.(json|checkpoint\..*parquet|checkpoint\.parquet)")


@dataclass(frozen=True, slots=True)
class TableFiles:
    """A table's files as of a version: names relative to the table, of its log and of its rows."""

    version: int
    names: tuple[str, ...]


class DeltaFiles:
    """A Delta table's folder, on this machine or in an object store."""

    def __init__(self, address: str) -> None:
        """Name the table by its local path or URL."""
        self._address = address
        self._filesystem, self._root = fsspec.core.url_to_fs(address)

    def has_log(self) -> bool:
        """Tell whether any version of the table was ever written at the address."""
        return bool(self._filesystem.exists(f"{self._root}/{_LOG}"))

    def up_to(self, marker: int) -> TableFiles | None:
        """Return the files of the last version before any commit with a greater marker; None of no table."""
        if not DeltaTable.is_deltatable(self._address):
            return None
        latest = DeltaTable(self._address).version()
        version = self._version_up_to(marker, latest)
        if version < 0:
            return None
        table = DeltaTable(self._address, version=version)
        rows = [self._relative(uri) for uri in table.file_uris()]
        return TableFiles(version, (*self._log_up_to(version), *sorted(rows)))

    def open(self, name: str) -> IO[bytes]:
        """Open one of the files for reading."""
        opened: IO[bytes] = self._filesystem.open(f"{self._root}/{name}", "rb")
        return opened

    def size(self, name: str) -> int:
        """Return how many bytes one of the files has."""
        return int(self._filesystem.size(f"{self._root}/{name}"))

    def write(self, name: str, pieces: Iterator[bytes]) -> None:
        """Write one of the files."""
        path = f"{self._root}/{name}"
        self._filesystem.makedirs(path.rpartition("/")[0], exist_ok=True)
        with self._filesystem.open(path, "wb") as file:
            for piece in pieces:
                file.write(piece)

    def _version_up_to(self, marker: int, latest: int) -> int:
        # From the newest commit back to the first that is known: a handful, those since the snapshot.
        wanted = latest
        for version in range(latest, -1, -1):
            path = f"{self._root}/{_LOG}/{version:020d}.json"
            if not self._filesystem.exists(path):
                break
            carried = _marker_of(self._filesystem.cat_file(path))
            if carried is not None and carried <= marker:
                break
            if carried is not None:
                wanted = version - 1
        return wanted

    def _log_up_to(self, version: int) -> list[str]:
        paths = self._filesystem.ls(f"{self._root}/{_LOG}", detail=False)
        names = [str(path).rpartition("/")[2] for path in paths]
        entries = [(name, _ENTRY.fullmatch(name)) for name in sorted(names)]
        return [f"{_LOG}/{name}" for name, match in entries if match and int(match[1]) <= version]

    def _relative(self, uri: str) -> str:
        path = unquote(uri) if "://" not in self._address else str(fsspec.core.url_to_fs(uri)[1])
        return path.removeprefix(str(self._root)).lstrip("/")


def _marker_of(commit: bytes) -> int | None:
    for line in commit.decode().splitlines():
        action: dict[str, Any] = json.loads(line)
        if action.get("txn", {}).get("appId") == APPLICATION:
            return int(action["txn"]["version"])
    return None
