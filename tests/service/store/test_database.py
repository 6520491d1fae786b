"""The database: migrated from nothing, named constraints, no update lost between processes."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from config import SiteFolder, load_site
from service.command_line.outcome import outcome_of
from service.failure import WorkFailed
from service.store import open_store
from service.store.database import Database
from service.store.ledger_tables import curves
from service.store.tables import METADATA, UtcTime, exports, generations, passes, points_seen
from tests.service.processes import exit_codes_of
from tests.service.server import Server

NOW = dt.datetime(2025, 6, 1, 5, 30, 0, 123456, tzinfo=dt.UTC)
GENERATION = {"id": 1, "folder": "g", "settings_digest": "0", "state": "current", "begun": NOW}
PASS = {"id": 1, "marker": "m", "generation_id": 1, "settings_digest": "0", "state": "done",
        "has_readings": True, "started": NOW, "finished": NOW}  # fmt: skip
EXPORT = {"id": 1, "sha256": "0" * 64, "source": "s", "point_name": "p", "file": "f", "size": 1 << 40,
          "modified_us": 1 << 50, "kept_at": NOW, "source_settings": {}}  # fmt: skip
POINT = {"pass_id": 1, "export_id": 1, "cells": 1, "example": "e"}


def count_to_five_hundred(url: str, folder: Path) -> None:
    database = Database(url, folder)
    for _ in range(500):
        with database.writer() as connection:
            seen = connection.execute(sa.text("select n from counter")).scalar_one()
            connection.execute(sa.text("update counter set n = :n"), {"n": seen + 1})
    database.close()


def open_and_close(folder: Path) -> None:
    open_store(load_site(folder)).close()


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """An empty database of each kind."""
    if request.param == "sqlite":
        return "sqlite:///state/x.db"
    server: Server = request.getfixturevalue("server")
    return server.empty()


@pytest.fixture
def database(url: str, tmp_path: Path) -> Iterator[Database]:
    opened = Database(url, tmp_path)
    yield opened
    opened.close()


def test_the_migrations_make_the_tables_that_the_code_declares(database: Database) -> None:
    with database.reader() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), METADATA)
    assert differences == []


def test_every_constraint_has_a_name(database: Database) -> None:
    with database.reader() as connection:
        inspector = sa.inspect(connection)
        for table in METADATA.tables:
            is_counted = METADATA.tables[table].dialect_options["sqlite"]["autoincrement"]
            if not is_counted:  # SQLite has no name for a key that it counts up itself
                assert inspector.get_pk_constraint(table)["name"] == f"pk_{table}"
            keys = [*inspector.get_foreign_keys(table), *inspector.get_unique_constraints(table)]
            names = [key["name"] for key in keys]
            assert all(name and name.startswith(("fk_", "uq_")) for name in names)


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    for _ in range(2):
        database = Database("sqlite:///state/x.db", tmp_path)
        with database.reader() as connection:
            assert connection.execute(sa.text("select count(*) from alembic_version")).scalar() == 1
        database.close()


def test_an_error_rolls_a_writer_back(database: Database) -> None:
    def fail() -> None:
        with database.writer() as connection:
            connection.execute(sa.text("delete from alembic_version"))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with database.reader() as connection:
        assert connection.execute(sa.text("select count(*) from alembic_version")).scalar() == 1


def test_two_processes_lose_no_update(database: Database, url: str, tmp_path: Path) -> None:
    with database.writer() as connection:
        connection.execute(sa.text("create table counter (n integer)"))
        connection.execute(sa.text("insert into counter values (0)"))
    assert exit_codes_of(count_to_five_hundred, [(url, tmp_path)] * 2) == [0, 0]
    with database.reader() as connection:
        assert connection.execute(sa.text("select n from counter")).scalar() == 1000


def test_two_processes_may_open_a_new_site_at_once(site: SiteFolder) -> None:
    assert exit_codes_of(open_and_close, [(site.path,)] * 4) == [0, 0, 0, 0]


def test_a_reader_sees_one_state_while_a_writer_commits(database: Database) -> None:
    with database.reader() as reading:
        before = reading.execute(sa.text("select count(*) from alembic_version")).scalar()
        with database.writer() as writing:
            writing.execute(sa.text("delete from alembic_version"))
        assert reading.execute(sa.text("select count(*) from alembic_version")).scalar() == before


def test_a_reader_cannot_write(database: Database) -> None:
    with pytest.raises(sa.exc.DBAPIError, match=r"read.?only"), database.reader() as connection:
        connection.execute(sa.text("delete from alembic_version"))


def test_text_sorts_by_code_point_and_numbers_keep_every_bit(database: Database) -> None:
    names = ["b", "a", "B", "A", "\u00e4", "_", "10", "9", "a b", "a-b", "\U0001d7d9", "\uff21"]
    numbers = [0.1, 1 / 3, 5e-324, 1.7976931348623157e308, -2.5, 123456789.123456789, 0.0, float("nan")]
    with database.writer() as connection:
        for number, name in enumerate(names):
            row = {"fan": name, "epoch": number, "digest": "0", "fitted": {"x": numbers[:-1]}}
            connection.execute(sa.insert(curves), [row])
        seen = [{**POINT, "name": str(place), "low": low} for place, low in enumerate(numbers)]
        connection.execute(sa.insert(generations), [GENERATION])
        connection.execute(sa.insert(passes), [PASS])
        connection.execute(sa.insert(exports), [EXPORT])
        connection.execute(sa.insert(points_seen), seen)
    with database.reader() as connection:
        found = connection.execute(sa.select(curves.c.fan).order_by(curves.c.fan)).scalars().all()
        assert found == sorted(names)
        low = sa.select(points_seen.c.low).order_by(points_seen.c.name)
        kept = connection.execute(low).scalars().all()
        assert [None if n is None else n.hex() for n in kept] == [*(n.hex() for n in numbers[:-1]), None]
        fitted = connection.execute(sa.select(curves.c.fitted)).scalars().first()
        assert [n.hex() for n in fitted["x"]] == [n.hex() for n in numbers[:-1]]


def test_a_lost_connection_is_an_error_and_the_next_writer_goes_on(server: Server, tmp_path: Path) -> None:
    database = Database(server.migrated(), tmp_path)

    def lose_it() -> None:
        with database.writer() as connection:
            connection.execute(sa.insert(generations), [GENERATION])
            server.run(
                "select pg_terminate_backend(pid) from pg_stat_activity "
                f"where datname = '{database.url.database}' and state like 'idle in transaction%'"
            )
            connection.execute(sa.insert(passes), [PASS])

    with pytest.raises(sa.exc.OperationalError) as lost:
        lose_it()
    outcome = outcome_of(lost.value)
    assert outcome is not None
    assert outcome.exit_code == 1
    assert "nothing is lost" in outcome.sentences[0]
    with database.writer() as connection:
        assert connection.execute(sa.select(generations)).all() == []
        connection.execute(sa.insert(generations), [GENERATION])
    database.close()


def test_a_server_that_is_not_there_is_an_error_with_its_address(tmp_path: Path) -> None:
    with pytest.raises(sa.exc.OperationalError) as refused:
        Database("postgresql+psycopg://somebody@127.0.0.1:1/x", tmp_path)
    outcome = outcome_of(refused.value)
    assert outcome is not None
    assert outcome.exit_code == 1
    assert "127.0.0.1" in outcome.sentences[0]


def test_times_come_back_in_utc_and_naive_ones_are_refused(database: Database) -> None:
    table = sa.Table("moments", sa.MetaData(), sa.Column("at", UtcTime))
    moment = dt.datetime(2025, 3, 30, 3, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    with database.writer() as connection:
        table.create(connection)
        connection.execute(sa.insert(table).values(at=moment))
        assert connection.execute(sa.select(table.c.at)).scalar() == moment.astimezone(dt.UTC)
        assert connection.execute(sa.select(table.c.at)).scalar_one().tzinfo is dt.UTC
    with pytest.raises(sa.exc.StatementError), database.writer() as connection:
        connection.execute(sa.insert(table).values(at=moment.replace(tzinfo=None)))


def test_a_folder_that_delta_cannot_write_to_is_said(tmp_path: Path) -> None:
    folder = tmp_path / "site [1]"
    folder.mkdir()
    (folder / "site.toml").write_text('name = "S"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text("fan,drive,motor_kw,speed_point\nA,direct,11,A speed\n")
    with pytest.raises(WorkFailed, match="rename the folder"):
        open_store(load_site(folder))
