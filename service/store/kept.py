"""The exports kept: every file that was ever read, compressed, under the digest of its bytes."""

import hashlib
import os
import threading
from pathlib import Path
from typing import Final

import zstandard

from service.store.durable import make_folder, sync_folder

_LEVEL: Final = 1  # as small as level 3 within a few per cent, in less time
_THREADED_BYTES: Final = 8 << 20


class KeptExports:
    """The folder of kept exports; a file in it is whole or not there."""

    def __init__(self, folder: Path) -> None:
        """Keep exports in a folder, made when the first one comes."""
        self._folder = folder

    def path(self, sha256: str) -> Path:
        """Return where an export is kept."""
        return self._folder / f"{sha256}.csv.zst"

    def keep(self, content: bytes) -> str:
        """Put an export on the disk and return its SHA-256."""
        sha256 = hashlib.sha256(content).hexdigest()
        target = self.path(sha256)
        if target.exists():
            return sha256
        make_folder(self._folder)
        partial = target.with_name(f"{sha256}.{os.getpid()}.{threading.get_ident()}.partial")
        with partial.open("wb") as file:
            file.write(_compressed(content))
            file.flush()
            os.fsync(file.fileno())
        partial.replace(target)
        return sha256

    def settle(self) -> None:
        """Make the names of what was kept as durable as the content."""
        if self._folder.is_dir():
            sync_folder(self._folder)

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a kept export."""
        content = zstandard.ZstdDecompressor().decompress(self.path(sha256).read_bytes())
        if hashlib.sha256(content).hexdigest() != sha256:
            raise OSError(f"{self.path(sha256)} is damaged: its content no longer has the digest in its name")
        return content

    def has_partial(self) -> bool:
        """Tell whether anything lies half written."""
        return any(True for _ in self._folder.glob("*.partial"))

    def clear_partial(self) -> None:
        """Remove what a stopped process left half written."""
        for partial in self._folder.glob("*.partial"):
            partial.unlink(missing_ok=True)


def _compressed(content: bytes) -> bytes:
    threads = 2 if len(content) >= _THREADED_BYTES else 0
    return zstandard.ZstdCompressor(level=_LEVEL, threads=threads, write_checksum=True).compress(content)
