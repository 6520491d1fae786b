"""How the database is opened, written and read."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from service.failure import WorkFailed
from service.store.migrating import is_up_to_date, migrate
from service.store.postgresql import postgresql_engine
from service.store.sqlite import Use, placed, sqlite_engine


class Database:
    """One writing and one reading engine on the same database, SQLite or PostgreSQL.

    There is one writer at a time: two processes that read and then write lose no update. Writers are
    short; readers never wait, see one state and cannot write.
    """

    def __init__(self, url: str, folder: Path) -> None:
        """Open and migrate the database, relative to the site's folder where it is a relative SQLite file."""
        self.url = database_url(url, folder)
        self._writing = engine(self.url, Use.WRITING)
        self._reading = engine(self.url, Use.READING)
        self._check: Callable[[sa.Connection], None] | None = None
        try:
            self._bring_up_to_date()
        except BaseException:
            self.close()
            raise

    def __str__(self) -> str:
        """Name the database without its password."""
        return self.url.render_as_string(hide_password=True)

    def _bring_up_to_date(self) -> None:
        with self.reader() as connection:
            if is_up_to_date(connection, str(self)):
                return
        migrating = engine(self.url, Use.MIGRATING)
        try:
            with migrating.begin() as connection:
                if not is_up_to_date(connection, str(self)):  # another process may have been first
                    migrate(connection)
        finally:
            migrating.dispose()

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


def database_url(text: str, folder: Path) -> sa.URL:
    """Return where a database is; a relative SQLite file is taken from a folder."""
    try:
        url = sa.make_url(text)
    except sa.exc.ArgumentError:
        raise WorkFailed(
            "the database's URL cannot be read; write it like sqlite:///state/slipledger.db "
            "or postgresql+psycopg://user@host/name"
        ) from None
    return placed(url, folder) if url.get_backend_name() == "sqlite" else url


def engine(url: sa.URL, use: Use) -> sa.Engine:
    """Make an engine for one use of a database."""
    if url.get_backend_name() == "sqlite":
        return sqlite_engine(url, use)
    return postgresql_engine(url, is_writing=use is not Use.READING)
