"""Moving the SQL state: all of it or nothing, the source as it was, in both directions."""

import os
from pathlib import Path

import pytest
import sqlalchemy as sa

from config import load_site
from service.failure import WorkFailed
from service.store import open_store
from service.store.copying import content_of, rows_in
from service.store.database import Database, database_url, engine
from service.store.moving import fill, refuse_filled
from service.store.schema import lasting_tables
from service.store.sqlite import Use
from service.store.tables import exports, passes
from tests.service.conftest import Run
from tests.service.intake.conftest import NOW, Plant
from tests.service.processes import exit_code_of
from tests.service.server import Server


def move_and_die(folder: Path, url: str, table: str) -> None:
    """Move in a process that dies without any cleaning up when it comes to a table."""
    with open_store(load_site(folder)) as store, store.reader() as source:
        fill(source, url, folder, lambda name: os._exit(9) if name == table else None)


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest) -> str:
    if request.param == "sqlite":
        return "sqlite:///state/other.db"
    server: Server = request.getfixturevalue("server")
    return server.empty()


@pytest.fixture
def pulled(tmp_path: Path) -> Plant:
    plant = Plant(tmp_path / "site")
    lines = "".join(f"2025-03-01 {hour:02d}:00,{0.1 * hour},{hour / 3}\n" for hour in range(24))
    plant.drop("a.csv", f"Time,SF1 speed,EF1 amps\n{lines}2025-03-02 00:00,x\u00e4,1\n", 1000.0)
    plant.pull()
    return plant


def held(database: Database) -> dict[str, object]:
    with database.reader() as connection:
        return {table.name: content_of(connection, table) for table in lasting_tables()}


def test_every_row_arrives_and_comes_back(pulled: Plant, target: str) -> None:
    with open_store(load_site(pulled.folder)) as store:
        before = held(store.database)
        with store.writer() as connection:  # an id that was given and taken back
            row = {"marker": "gone", "generation_id": 1, "settings_digest": "0", "state": "intended"}
            row |= {"has_readings": True, "started": NOW}
            gone = connection.execute(sa.insert(passes).values(row)).inserted_primary_key
            assert gone is not None
            connection.execute(sa.delete(passes).where(passes.c.id == gone[0]))
        with store.reader() as source:
            contents = fill(source, target, pulled.folder)
        assert contents == before
        assert held(store.database) == before
    moved = Database(target, pulled.folder)
    assert held(moved) == before
    with moved.writer() as connection:
        next_pass = connection.execute(sa.insert(passes).values(row)).inserted_primary_key
        assert next_pass is not None
        assert next_pass[0] > gone[0]
        connection.execute(sa.delete(passes).where(passes.c.id == next_pass[0]))
    with moved.reader() as source:
        assert fill(source, "sqlite:///back.db", pulled.folder) == before
    moved.close()


def test_a_database_that_holds_anything_is_refused_and_left_alone(pulled: Plant, target: str) -> None:
    with open_store(load_site(pulled.folder)) as store, store.reader() as source:
        fill(source, target, pulled.folder)
        with pytest.raises(WorkFailed, match=r"is not empty \(1 in exports.*nothing was changed"):
            fill(source, target, pulled.folder)


def test_a_database_of_something_else_is_refused(target: str, tmp_path: Path) -> None:
    other = engine(database_url(target, tmp_path), Use.WRITING)
    with other.begin() as connection:
        connection.execute(sa.text("create table invoices (n integer)"))
    other.dispose()
    with pytest.raises(WorkFailed, match=r"tables of something else \(invoices\)"):
        refuse_filled(target, tmp_path)


@pytest.mark.parametrize("table", ["daily", "intake"])
def test_stopped_on_the_way_it_leaves_an_empty_database(pulled: Plant, target: str, table: str) -> None:
    assert exit_code_of(move_and_die, pulled.folder, target, table) == 9
    left = Database(target, pulled.folder)
    with left.reader() as connection:
        assert rows_in(connection) == {}
    left.close()
    with open_store(load_site(pulled.folder)) as store, store.reader() as source:
        assert fill(source, target, pulled.folder)["exports"].rows == 1


@pytest.mark.long
def test_a_row_that_comes_back_changed_takes_everything_back(pulled: Plant, target: str) -> None:
    filled = Database(target, pulled.folder)
    trigger = "create trigger spoil after insert on exports begin update exports set size = size + 1; end"
    with filled.writer() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(
                sa.text(
                    "create function spoil() returns trigger language plpgsql as "
                    "$$ begin new.size = new.size + 1; return new; end $$"
                )
            )
            trigger = "create trigger spoil before insert on exports for each row execute function spoil()"
        connection.execute(sa.text(trigger))
    with (
        open_store(load_site(pulled.folder)) as store,
        store.reader() as source,
        pytest.raises(WorkFailed, match=r"table exports: 1 rows were sent.*nothing was copied"),
    ):
        fill(source, target, pulled.folder)
    with filled.reader() as connection:
        assert rows_in(connection) == {}
        assert connection.execute(sa.select(exports)).all() == []
    filled.close()


def test_the_command_says_what_it_copied_and_what_to_do_next(
    run: Run, pulled: Plant, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = "postgresql+psycopg://{env:WHERE}"
    monkeypatch.setenv("WHERE", server.empty().removeprefix("postgresql+psycopg://"))
    code, out, err = run("move", pulled.folder, "--to", url)
    assert (code, err) == (0, "")
    assert "exports: 1 rows" in out
    assert out.rstrip().endswith(f'database = "{url}"')
    code, _, err = run("move", pulled.folder, "--to", "postgresql+psycopg://a:b@c/d")
    assert code == 2
    assert "carries a password" in err
    assert "a:b" not in err
