"""Bringing a database's tables up to date with the program, or refusing one that is ahead of it."""

from pathlib import Path
from typing import Final

import sqlalchemy as sa

from service.failure import WorkFailed
from service.store import postgresql, sqlite
from service.store.schema import all_tables

VERSION_TABLE: Final = "alembic_version"
_VERSIONS: Final = Path(__file__).parent / "migrations" / "versions"


def known_revisions() -> tuple[str, ...]:
    """Return the revisions that this program knows, in order: their files begin with the number."""
    return tuple(sorted(path.stem.partition("_")[0] for path in _VERSIONS.glob("[0-9]*.py")))


def revision_of(connection: sa.Connection) -> str | None:
    """Return the revision that a database is at, None where it has no tables of ours."""
    if not sa.inspect(connection).has_table(VERSION_TABLE):
        return None
    found = connection.execute(sa.text(f"select version_num from {VERSION_TABLE}")).scalar()
    return None if found is None else str(found)


def is_up_to_date(connection: sa.Connection, shown: str) -> bool:
    """Tell whether there is nothing to migrate; raise where a newer program wrote the database."""
    known = known_revisions()
    revision = revision_of(connection)
    if revision is not None and revision not in known:
        raise WorkFailed(
            f"the database {shown} is at revision {revision}, made by a newer Slipledger than this, whose "
            f"newest is {known[-1]}; install the newer program, nothing was changed"
        )
    return revision == known[-1]


def migrate(connection: sa.Connection, revision: str = "head") -> None:
    """Take the tables to a revision, in the transaction of a migrating connection."""
    from alembic import command  # noqa: PLC0415 - a database that is up to date does without
    from alembic.config import Config  # noqa: PLC0415

    is_sqlite = connection.dialect.name == "sqlite"
    if not is_sqlite:
        postgresql.check_encoding(connection)
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
    if is_sqlite:
        sqlite.check_references(connection)
    else:
        postgresql.sort_by_code_point(connection, frozenset(table.name for table in all_tables()))
