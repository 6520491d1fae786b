"""How the database is opened, written and read."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from sqlalchemy import event

BUSY_TIMEOUT_S: Final = 60.0


class Database:
    """One writing and one reading engine on the same database.

    On SQLite every writing transaction begins IMMEDIATE: two processes that read and then write
    would lose updates silently under the deferred default. Writers are short; readers never wait.
    """

    def __init__(self, url: str, folder: Path) -> None:
        """Open the database, relative to the site's folder where the URL is a relative SQLite file."""
        parsed = _placed(sa.make_url(url), folder)
        self._is_sqlite = parsed.get_backend_name() == "sqlite"
        self._writing = self._engine(parsed, "BEGIN IMMEDIATE")
        self._reading = self._engine(parsed, "BEGIN DEFERRED")
        self._check: Callable[[sa.Connection], None] | None = None
        with self.writer() as connection:
            _migrate(connection)

    def _engine(self, url: sa.URL, begin: str) -> sa.Engine:
        if not self._is_sqlite:
            return sa.create_engine(url, pool_pre_ping=True)
        # isolation_level None turns the driver's own transactions off, so that ours alone begin and end.
        engine = sa.create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_S, "isolation_level": None})

        def settle(connection: Any, _record: Any) -> None:
            for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
                connection.execute(f"PRAGMA {pragma}")

        event.listen(engine, "connect", settle)
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql(begin))
        return engine

    @contextmanager
    def writer(self) -> Iterator[sa.Connection]:
        """Hold a short writing transaction: committed at the end, rolled back on an error."""
        with self._writing.begin() as connection:
            if self._check is not None:
                self._check(connection)
            yield connection

    def check_writers_by(self, check: Callable[[sa.Connection], None] | None) -> None:
        """Have every writing transaction begin with a check that raises where it may not go on."""
        self._check = check

    @contextmanager
    def unchecked_writer(self) -> Iterator[sa.Connection]:
        """Hold a writing transaction of the lease itself."""
        with self._writing.begin() as connection:
            yield connection

    @contextmanager
    def reader(self) -> Iterator[sa.Connection]:
        """Hold a reading transaction: one consistent view."""
        with self._reading.connect() as connection:
            yield connection

    def close(self) -> None:
        """Close every connection."""
        self._writing.dispose()
        self._reading.dispose()


def _placed(url: sa.URL, folder: Path) -> sa.URL:
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return url
    path = folder / url.database
    path.parent.mkdir(parents=True, exist_ok=True)
    return url.set(database=str(path))


def _migrate(connection: sa.Connection) -> None:
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
