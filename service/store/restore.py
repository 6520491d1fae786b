"""Making a site from a backup, in an empty folder."""

import hashlib
import json
import re
import shutil
import tarfile
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any, Final

import sqlalchemy as sa
import zstandard

from config import load_site
from config.folder import SiteFolder
from config.secrets import resolve_secrets
from service.failure import WorkFailed, WrongInput
from service.store.backup import DATABASE, FORMAT, MANIFEST, pieces_of
from service.store.database import Database
from service.store.delta_files import DeltaFiles
from service.store.durable import sync_file, sync_folder
from service.store.ledger_tables import hour_marks, hours_made
from service.store.moving import fill
from service.store.store import STATE_FOLDER, readings_address

_TABLE: Final = re.compile(r"^\s*\[", re.MULTILINE)


def restore(
    backup: Path,
    folder: Path,
    database: str | None = None,
    readings: str | None = None,
    say: Callable[[str], None] = lambda _what: None,
) -> SiteFolder:
    """Make a site in a folder that is empty or not there, and return it; all of it, or nothing.

    `database` and `readings` take the place of what site.toml says. The database and the place of the
    readings have to be empty. The hours are made by the next `assess`, or by whoever called this. A process
    that is stopped on the way leaves a hidden folder beside it, named as being restored, which the next
    one into the same folder clears away.
    """
    if not backup.is_file():
        raise WrongInput(f"there is no file {backup}; slipledger backup writes one")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WrongInput(f"{folder} is not empty; name a folder that is empty or not there")
    building = folder.with_name(f".{folder.name}.restoring")
    shutil.rmtree(building, ignore_errors=True)  # of a restore that was stopped
    building.mkdir(parents=True)
    try:
        with tarfile.open(backup, "r:") as tar:
            manifest = _manifest(tar, backup)
            _put_site(tar, manifest, building, database, readings)
            site = load_site(building)
            _put_exports(tar, manifest, building, say)
            _put_readings(tar, manifest, site, say)
            _put_database(tar, manifest, site, say)
    except tarfile.TarError as error:
        raise WrongInput(f"{backup} is no backup of this program: {error}") from error
    finally:
        if not (building / STATE_FOLDER / "whole").exists():
            shutil.rmtree(building, ignore_errors=True)
    (building / STATE_FOLDER / "whole").unlink()
    if folder.exists():
        folder.rmdir()
    building.rename(folder)
    sync_folder(folder.parent)
    return load_site(folder)


def _manifest(tar: tarfile.TarFile, backup: Path) -> dict[str, Any]:
    if MANIFEST not in tar.getnames():
        raise WorkFailed(f"{backup} is cut short or no backup of this program: it has no {MANIFEST}")
    manifest: dict[str, Any] = json.load(_opened(tar, MANIFEST))
    if manifest.get("format") != FORMAT:
        raise WorkFailed(
            f"{backup} has the form {manifest.get('format')}, this program reads {FORMAT}; "
            "restore it with the program that made it"
        )
    missing = sorted(set(manifest["files"]) - set(tar.getnames()))
    if missing:
        raise WorkFailed(f"{backup} is damaged: {missing[0]} is not in it, and {len(missing) - 1} more")
    return manifest


def _put_site(
    tar: tarfile.TarFile, manifest: dict[str, Any], building: Path, database: str | None, readings: str | None
) -> None:
    for name in _under(manifest, "site/"):
        _write(building / name.removeprefix("site/"), _checked(tar, name, manifest))
    (building / "drop").mkdir(exist_ok=True)
    path = building / "site.toml"
    for key, value in (("database", database), ("readings", readings)):
        if value is not None:
            path.write_text(with_key(path.read_text(encoding="utf-8"), key, value), encoding="utf-8")


def with_key(text: str, key: str, value: str) -> str:
    """Return site.toml's text with a key of its top set, and nothing else changed."""
    line = f"{key} = {json.dumps(value, ensure_ascii=False)}"
    table = _TABLE.search(text)
    top, rest = (text, "") if table is None else (text[: table.start()], text[table.start() :])
    changed, found = re.subn(rf"(?m)^\s*{key}\s*=.*$", lambda _old: line, top, count=1)
    changed = (changed if found else f"{line}\n{top}") + rest
    if tomllib.loads(changed) != {**tomllib.loads(text), key: value}:
        raise WorkFailed(f"site.toml in the backup cannot be given another {key}; restore it as it is")
    return changed


def _put_exports(
    tar: tarfile.TarFile, manifest: dict[str, Any], building: Path, say: Callable[[str], None]
) -> None:
    for name in _under(manifest, "exports/"):
        say(name)
        _write(building / STATE_FOLDER / name, _checked(tar, name, manifest))


def _put_readings(
    tar: tarfile.TarFile, manifest: dict[str, Any], site: SiteFolder, say: Callable[[str], None]
) -> None:
    generation = manifest["generation"]
    if generation is None:
        return
    table = DeltaFiles(f"{readings_address(site)}/{generation}")
    if table.has_log():  # which is written last: without it, they are what a stopped restore left
        raise WorkFailed(
            f"the readings of this backup would go where readings of the same name are already "
            f"({readings_address(site)}/{generation}); name another place with --readings, or delete them "
            "if a restore that was stopped had put them there"
        )
    prefix = f"readings/{generation}/"
    for name in sorted(_under(manifest, prefix), key=lambda name: "_delta_log" in name):
        say(name)
        table.write(name.removeprefix(prefix), _checked(tar, name, manifest))


def _put_database(
    tar: tarfile.TarFile, manifest: dict[str, Any], site: SiteFolder, say: Callable[[str], None]
) -> None:
    scratch = site.path / STATE_FOLDER / "restoring"
    scratch.mkdir(parents=True)
    packed = scratch / "database.zst"
    _write(packed, _checked(tar, DATABASE, manifest))
    with packed.open("rb") as source, (scratch / "database.sqlite").open("wb") as target:
        zstandard.ZstdDecompressor().copy_stream(source, target)
    snapshot = Database("sqlite:///database.sqlite", scratch)
    try:
        with snapshot.writer() as connection:
            for table in (hour_marks, hours_made):
                connection.execute(sa.delete(table))  # the hours are made anew from the readings
        with snapshot.reader() as connection:
            fill(connection, resolve_secrets(site.site.database, site.path), site.path, say)
    finally:
        snapshot.close()
    shutil.rmtree(scratch)
    (site.path / STATE_FOLDER / "whole").touch()


def _under(manifest: dict[str, Any], prefix: str) -> list[str]:
    return [name for name in manifest["files"] if name.startswith(prefix)]


def _checked(tar: tarfile.TarFile, name: str, manifest: dict[str, Any]) -> Iterator[bytes]:
    """Yield a file of the backup; raise WorkFailed after its last piece where it is another than was put."""
    digest = hashlib.sha256()
    for piece in pieces_of(_opened(tar, name)):
        digest.update(piece)
        yield piece
    if digest.hexdigest() != manifest["files"][name][1]:
        raise WorkFailed(f"the backup is damaged: {name} is not what was put there; nothing was restored")


def _opened(tar: tarfile.TarFile, name: str) -> IO[bytes]:
    file = tar.extractfile(name)
    assert file is not None
    return file


def _write(path: Path, pieces: Iterator[bytes]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        for piece in pieces:
            file.write(piece)
    sync_file(path)
