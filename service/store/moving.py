"""Moving a site's SQL state into another database."""

from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from service.failure import WorkFailed
from service.store.copying import Content, copy_rows, rows_in
from service.store.database import Database, database_url, engine
from service.store.migrating import VERSION_TABLE, is_up_to_date
from service.store.schema import all_tables
from service.store.sqlite import Use


def fill(
    source: sa.Connection, url: str, folder: Path, say: Callable[[str], None] = lambda _table: None
) -> dict[str, Content]:
    """Copy every row into the empty database at a URL, all of them or none, and return what each table holds.

    The rows are read back before they are committed: a process that is stopped on the way leaves a database
    that is still empty. Raises WorkFailed where the database holds anything.
    """
    refuse_filled(url, folder)
    target = Database(url, folder)
    try:
        with target.writer() as connection:
            _refuse_rows(connection, str(target))  # another process may have been first
            return copy_rows(source, connection, say)
    finally:
        target.close()


def refuse_filled(url: str, folder: Path) -> None:
    """Raise WorkFailed unless the database at a URL is empty; change nothing in it."""
    place = database_url(url, folder)
    shown = place.render_as_string(hide_password=True)
    is_sqlite = place.get_backend_name() == "sqlite"
    if is_sqlite and place.database and not Path(place.database).exists():
        return
    looking = engine(place, Use.READING)
    try:
        with looking.connect() as connection:
            present = set(sa.inspect(connection).get_table_names())
            others = sorted(present - {VERSION_TABLE, *(table.name for table in all_tables())})
            if others or (present and VERSION_TABLE not in present):
                named = ", ".join(others or sorted(present))
                raise WorkFailed(f"{shown} holds tables of something else ({named}); name an empty database")
            is_up_to_date(connection, shown)
            _refuse_rows(connection, shown)
    finally:
        looking.dispose()


def _refuse_rows(connection: sa.Connection, shown: str) -> None:
    filled = rows_in(connection)
    if filled:
        counts = ", ".join(f"{count} in {name}" for name, count in sorted(filled.items()))
        raise WorkFailed(f"{shown} is not empty ({counts}); name an empty database, nothing was changed")
