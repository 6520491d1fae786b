"""Taking a backup of a site while it runs: one file that holds all that a site remembers at one moment."""

import contextlib
import datetime as dt
import hashlib
import io
import json
import os
import shutil
import sqlite3
import tarfile
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import IO, Any, Final

import sqlalchemy as sa
import zstandard

from config.folder import SiteFolder
from service.store.copying import rows_in
from service.store.durable import sync_file, sync_folder
from service.store.holding import holding
from service.store.moving import fill
from service.store.sqlite import Use, sqlite_engine
from service.store.store import Store
from service.store.tables import exports, generations, passes

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
DATABASE: Final = "database.sqlite.zst"
SITE_FILES: Final = ("site.toml", "fans.csv", "service_log.csv")
_PIECE: Final = 1 << 20
_SCRATCH: Final = ".slipledger-backup-"
_UNFINISHED: Final = ".slipledger-partial"
_LEFT_AFTER_S: Final = 86_400.0


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds: where it lies, how many rows, exports, and files of readings, and its size."""

    path: Path
    rows: int
    exports: int
    files_of_readings: int
    size: int


@dataclass(frozen=True, slots=True)
class _Snapshot:
    """The SQL state at one moment, and what of the rest belongs to it."""

    path: Path
    rows: dict[str, int]
    generation: str | None
    last_pass: int
    exports: tuple[str, ...]


def back_up(
    site: SiteFolder,
    store: Store,
    to: Path,
    clock: Callable[[], dt.datetime],
    say: Callable[[str], None] = lambda _what: None,
) -> Backup:
    """Write a backup to a file, or under a name of its own into a folder; others go on working meanwhile.

    First the SQL state, which decides what the rest has to be: the readings at the last version before any
    pass that the SQL state has not seen, and the exports that it knows. The hours are left out, for they are
    made from the readings. The file is whole or not there; what a process that was killed left beside it
    goes the next day.
    """
    now = clock()
    _clear_left(to if to.is_dir() else to.parent)
    target = to / f"slipledger-{now:%Y%m%dT%H%M%SZ}.tar" if to.is_dir() else to
    unfinished = target.with_name(f"{target.name}.{os.getpid()}{_UNFINISHED}")
    holder = f"the backup {target.name}"
    try:
        with (
            holding(store.database, holder, clock) as renew,
            tempfile.TemporaryDirectory(dir=target.parent, prefix=_SCRATCH) as scratch,
        ):

            def go_on(name: str) -> None:
                renew()
                say(name)

            snapshot = _snapshot(store, Path(scratch), say)
            count = _write(site, store, snapshot, unfinished, now, go_on)
        sync_file(unfinished)
        unfinished.replace(target)
        sync_folder(target.parent)
    finally:
        unfinished.unlink(missing_ok=True)
    return Backup(target, sum(snapshot.rows.values()), len(snapshot.exports), count, target.stat().st_size)


def _clear_left(folder: Path) -> None:
    """Delete what backups into a folder began and nothing has touched for a day: their processes are gone."""
    for left in [*folder.glob(f"*{_UNFINISHED}"), *folder.glob(f"{_SCRATCH}*")]:
        with contextlib.suppress(FileNotFoundError):  # another backup into the same folder ended just now
            if time.time() - left.stat().st_mtime < _LEFT_AFTER_S:
                continue
            if left.is_dir():
                shutil.rmtree(left)
            else:
                left.unlink()


def _snapshot(store: Store, scratch: Path, say: Callable[[str], None]) -> _Snapshot:
    path = scratch / "database.sqlite"
    url = sa.make_url(f"sqlite:///{path}")
    with store.reader() as connection:
        if connection.dialect.name == "sqlite":
            copy = sqlite3.connect(path)
            driver: Any = connection.connection.driver_connection
            driver.backup(copy)
            copy.close()
        else:
            fill(connection, str(url), scratch, say)
    reading = sqlite_engine(url, Use.READING)
    with reading.connect() as connection:
        damage = connection.exec_driver_sql("PRAGMA quick_check").scalar()
        if damage != "ok":
            raise OSError(f"the database is damaged: {damage}")
        current = sa.select(generations.c.folder).where(generations.c.state == "current")
        found = _Snapshot(
            path=path,
            rows=rows_in(connection),
            generation=connection.execute(current).scalar(),
            last_pass=int(connection.execute(sa.select(sa.func.max(passes.c.id))).scalar() or 0),
            exports=tuple(connection.execute(sa.select(exports.c.sha256).distinct()).scalars()),
        )
    reading.dispose()
    # One file: what lies beside it in its log is taken in.
    settled = sqlite3.connect(path)
    settled.execute("PRAGMA journal_mode=DELETE")
    settled.close()
    return found


def _write(
    site: SiteFolder,
    store: Store,
    snapshot: _Snapshot,
    path: Path,
    now: dt.datetime,
    say: Callable[[str], None],
) -> int:
    with tarfile.open(path, "w", format=tarfile.PAX_FORMAT) as tar:
        archive = _Archive(tar, now, say)
        for name in SITE_FILES:
            if (site.path / name).exists():
                archive.add_bytes(f"site/{name}", (site.path / name).read_bytes())
        packed = _packed(snapshot.path)
        archive.add(DATABASE, packed.stat().st_size, lambda: packed.open("rb"))
        held = None
        if snapshot.generation is not None:
            table = store.table_files(snapshot.generation)
            held = table.up_to(snapshot.last_pass)
            for name in () if held is None else held.names:
                place = f"readings/{snapshot.generation}/{name}"
                archive.add(place, table.size(name), partial(table.open, name))
        for sha256 in snapshot.exports:
            kept = store.kept.path(sha256)
            archive.add(f"exports/{kept.name}", kept.stat().st_size, partial(_opened, kept))
        manifest = {
            "format": FORMAT,
            "site": site.site.name,
            "taken_at": f"{now:%Y-%m-%dT%H:%M:%SZ}",
            "generation": snapshot.generation,
            "readings_version": None if held is None else held.version,
            "last_pass": snapshot.last_pass,
            "rows": snapshot.rows,
            "files": archive.listed,
        }
        archive.add_bytes(MANIFEST, json.dumps(manifest, indent=1).encode())  # last: else it is cut short
    return 0 if held is None else len(held.names)


class _Archive:
    """The file that a backup is written to, with a list of what went in: size and SHA-256 of each."""

    def __init__(self, tar: tarfile.TarFile, now: dt.datetime, say: Callable[[str], None]) -> None:
        self._tar, self._now, self._say = tar, now, say
        self.listed: dict[str, tuple[int, str]] = {}

    def add(self, name: str, size: int, open_file: Callable[[], IO[bytes]]) -> None:
        self._say(name)
        entry = tarfile.TarInfo(name)
        entry.size, entry.mtime, entry.mode = size, int(self._now.timestamp()), 0o600
        with open_file() as file:
            through = _Digesting(file)
            self._tar.addfile(entry, through)
        self.listed[name] = (size, through.sha256)

    def add_bytes(self, name: str, content: bytes) -> None:
        self.add(name, len(content), lambda: io.BytesIO(content))


class _Digesting:
    """Reads a file through a digest."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._digest = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        piece = self._file.read(size)
        self._digest.update(piece)
        return piece

    @property
    def sha256(self) -> str:
        return self._digest.hexdigest()


def _packed(path: Path) -> Path:
    packed = path.with_name("database.sqlite.zst")
    with path.open("rb") as source, packed.open("wb") as target:
        zstandard.ZstdCompressor(level=3, write_checksum=True).copy_stream(source, target)
    return packed


def pieces_of(file: IO[bytes]) -> Iterator[bytes]:
    """Yield a file's bytes a piece at a time."""
    while piece := file.read(_PIECE):
        yield piece


def _opened(path: Path) -> IO[bytes]:
    return path.open("rb")
