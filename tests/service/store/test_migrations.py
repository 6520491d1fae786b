"""A database of the first revision, with rows in it, taken to the newest; and one that is too new."""

import datetime as dt
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.failure import WorkFailed
from service.store.copying import content_of
from service.store.database import Database, database_url, engine
from service.store.migrating import known_revisions, migrate, revision_of
from service.store.sqlite import Use
from service.store.tables import exports, generations, intake, passes, points_seen, refusals, touched_days
from tests.service.server import Server

NOW = dt.datetime(2025, 3, 30, 1, 30, 0, 654321, tzinfo=dt.UTC)
# The tables of the first revision, written in today's words: a row of every kind, every type with a trap.
FIRST = {
    generations: [
        {"id": 3, "folder": "generation-3", "settings_digest": "a" * 64, "state": "current", "begun": NOW}
    ],
    passes: [
        {"id": number, "marker": f"m{number}", "generation_id": 3, "settings_digest": "a" * 64,
         "state": "done", "has_readings": number == 7, "started": NOW,
         "finished": None if number == 9 else NOW}
        for number in (7, 9)
    ],
    exports: [
        {"id": 5, "sha256": "b" * 64, "source": "nightly", "point_name": "Zähler é", "file": "a.csv",
         "size": 1 << 40, "modified_us": 1_743_298_200_000_001, "kept_at": NOW,
         "source_settings": {"decimal": ",", "zone": None}}
    ],
    intake: [
        {"id": 11, "pass_id": 7, "export_id": 5, "file": "a.csv", "source": "nightly", "pulled_at": NOW,
         "rows_read": 10, "stored": 7, "identical": 1, "superseded": 1, "refused": 1, "missing": 2,
         "unmapped": 3, "cells": 15, "decided": "wide", "is_named_by_file": False,
         "source_digest": "c" * 64, "ranked_us": 1, "first_us": -1, "newest_us": None}
    ],
    points_seen: [
        {"pass_id": 7, "export_id": 5, "name": name, "first_us": None, "last_us": 2, "cells": 3,
         "example": "", "low": low, "high": 1e308}
        for name, low in (("b", 1 / 3), ("B", 5e-324), ("ä", None))
    ],
    refusals: [
        {"id": 13, "pass_id": 7, "export_id": 5, "row": 1 << 33, "column": "Speed %", "value": "12,5\t'\"",
         "reason": "is no number", "cells": 1}
    ],
    touched_days: [{"pass_id": 7, "fan": "SF-1", "date": dt.date(2025, 3, 30)}],
}  # fmt: skip


@pytest.fixture(params=["sqlite", "postgresql"])
def first(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A database of the first revision with a row of every kind."""
    url = "sqlite:///old.db"
    if request.param == "postgresql":
        server: Server = request.getfixturevalue("server")
        url = server.empty()
    old = engine(database_url(url, tmp_path), Use.MIGRATING)
    with old.begin() as connection:
        migrate(connection, "0001")
        assert revision_of(connection) == "0001"
        for table, rows in FIRST.items():
            connection.execute(sa.insert(table), rows)
    old.dispose()
    return url


def test_every_row_of_the_first_revision_is_there_at_the_newest(first: str, tmp_path: Path) -> None:
    looking = engine(database_url(first, tmp_path), Use.READING)
    with looking.connect() as connection:
        before = {table.name: content_of(connection, table) for table in FIRST}
    looking.dispose()
    database = Database(first, tmp_path)
    with database.reader() as connection:
        assert revision_of(connection) == known_revisions()[-1]
        for table, rows in FIRST.items():
            query = sa.select(table).order_by(*table.primary_key.columns)
            found = [dict(row._mapping) for row in connection.execute(query)]
            by_key = sorted(rows, key=lambda row: [row[key.name] for key in table.primary_key.columns])
            assert found == by_key
            assert content_of(connection, table) == before[table.name]
    with database.writer() as connection:  # ids go on behind those that were there
        row = {**FIRST[passes][0], "marker": "next"}
        del row["id"]
        given = connection.execute(sa.insert(passes).values(row)).inserted_primary_key
        assert given is not None
        if connection.dialect.name == "sqlite":
            assert given[0] == 10
    database.close()


def test_a_database_newer_than_the_program_is_refused_and_left_alone(first: str, tmp_path: Path) -> None:
    Database(first, tmp_path).close()
    changing = engine(database_url(first, tmp_path), Use.WRITING)
    with changing.begin() as connection:
        connection.execute(sa.text("update alembic_version set version_num = '9999'"))
    changing.dispose()
    with pytest.raises(WorkFailed, match=r"revision 9999, made by a newer Slipledger.*nothing was changed"):
        Database(first, tmp_path)
    looking = engine(database_url(first, tmp_path), Use.READING)
    with looking.connect() as connection:
        assert revision_of(connection) == "9999"
        assert connection.execute(sa.select(sa.func.count()).select_from(passes)).scalar() == 2
    looking.dispose()


def test_the_revisions_are_one_chain_named_by_their_numbers() -> None:
    known = known_revisions()
    assert list(known) == [f"{number:04d}" for number in range(1, len(known) + 1)]
