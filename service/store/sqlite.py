"""How SQLite is opened so that two processes lose nothing."""

import enum
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import event

BUSY_TIMEOUT_S: Final = 60.0
_WRITING: Final = ("journal_mode=WAL", "synchronous=FULL")


class Use(enum.Enum):
    """What a connection is for."""

    READING = ("BEGIN DEFERRED", ("query_only=ON",))
    WRITING = ("BEGIN IMMEDIATE", (*_WRITING, "foreign_keys=ON"))
    # A migration copies a table and drops the old one: enforced keys would delete what refers to it.
    MIGRATING = ("BEGIN IMMEDIATE", (*_WRITING, "foreign_keys=OFF"))


def sqlite_engine(url: sa.URL, use: Use) -> sa.Engine:
    """Make an engine; writers begin IMMEDIATE, for a deferred one that read before it wrote loses updates."""
    begin, pragmas = use.value
    # isolation_level None turns the driver's own transactions off, so that ours alone begin and end.
    engine = sa.create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_S, "isolation_level": None})

    def settle(connection: Any, _record: Any) -> None:
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")

    event.listen(engine, "connect", settle)
    event.listen(engine, "begin", lambda connection: connection.exec_driver_sql(begin))
    return engine


def placed(url: sa.URL, folder: Path) -> sa.URL:
    """Return a SQLite URL with its file taken from a folder, whose own folder is made."""
    if not url.database or url.database == ":memory:":
        return url
    path = folder / url.database
    path.parent.mkdir(parents=True, exist_ok=True)
    return url.set(database=str(path))


def check_references(connection: sa.Connection) -> None:
    """Raise where a row refers to one that is not there: what enforced keys would have refused."""
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if broken is not None:
        raise sa.exc.IntegrityError(
            f"row {broken[1]} of {broken[0]} refers to nothing", None, ValueError(broken)
        )
