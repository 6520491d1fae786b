"""The database of a test's site: what its site.toml says, and how a copy of the site gets its own."""

import re
import shutil
from pathlib import Path

import sqlalchemy as sa

from config import load_site
from service.store import open_store
from tests.service.server import Server

_LINE = re.compile(r'^database = "(postgresql[^"]*)"\n', re.MULTILINE)


class _Chosen:
    """The server in which sites have their databases; None where they have SQLite."""

    server: Server | None = None
    urls: dict[Path, str] = {}  # noqa: RUF012 - one a session


def use(server: Server | None) -> None:
    """Give the sites declared from now on a database in a server, or SQLite."""
    _Chosen.server = server


def is_postgresql() -> bool:
    return _Chosen.server is not None


def database_line(folder: Path) -> str:
    """Return the line of site.toml that names the site's database, the same one for the same folder."""
    if _Chosen.server is None:
        return ""
    if folder not in _Chosen.urls:
        _Chosen.urls[folder] = _Chosen.server.migrated()
    return f'database = "{_Chosen.urls[folder]}"\n'


def copy_site(source: Path, target: Path) -> None:
    """Copy a site's folder and, where it lies elsewhere, its database."""
    shutil.copytree(source, target)
    text = (target / "site.toml").read_text(encoding="utf-8")
    named = _LINE.search(text)
    if named is not None and _Chosen.server is not None:
        _Chosen.urls[target] = _Chosen.server.copied(named[1])
        (target / "site.toml").write_text(text.replace(named[0], database_line(target)), encoding="utf-8")


def query(folder: Path, text: str) -> list[tuple[object, ...]]:
    """Return what a query finds in a site's database, as the driver hands it out."""
    with open_store(load_site(folder)) as store, store.reader() as connection:
        return [tuple(row) for row in connection.execute(sa.text(text))]
