"""Who may write: one at a time on whatever host, told for whom to wait, and nothing after it is lost."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from config import SiteFolder
from service.failure import WorkFailed
from service.store import open_store
from service.store.columns import READINGS_SCHEMA
from service.store.database import Database
from service.store.lease import Holder, Lease, LeaseLost, Pace
from service.store.worker_tables import heartbeats, leases

ROOT = Path(__file__).parents[3]
HASTY = Pace(poll_s=0.02, renew_s=0.05, lost_after_s=0.5, patience_s=5.0)
NEVER_RENEWED = Pace(poll_s=0.02, renew_s=60.0, lost_after_s=0.5, patience_s=5.0)
IMPATIENT = Pace(poll_s=0.02, renew_s=0.05, lost_after_s=60.0, patience_s=0.2)
HOLD_AND_HANG = """
import sys, time
from pathlib import Path
from service.store.database import Database
from service.store.lease import Lease

folder = Path(sys.argv[1])
database = Database("sqlite:///x.db", folder)
with Lease(database, folder, "writing").held("a long pull", print):
    print("held", flush=True)
    time.sleep(60)
"""


def nobody(holder: Holder) -> None:
    raise AssertionError(f"had to wait for {holder}")


class Hosts:
    """Two hosts, each with a state folder and a connection of its own to one database."""

    def __init__(self, folder: Path, url: str) -> None:
        self.url, self.shared = url, folder / "shared"
        self.shared.mkdir()
        self.opened: list[Database] = []
        self.folders = [folder / name for name in ("one", "two")]
        for own in self.folders:
            own.mkdir()

    def database(self) -> Database:
        self.opened.append(Database(self.url, self.shared))
        return self.opened[-1]

    def lease(self, host: int, pace: Pace) -> tuple[Database, Lease]:
        database = self.database()
        return database, Lease(database, self.folders[host], "writing", pace)


@pytest.fixture(params=["sqlite", "postgresql"])
def hosts(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Hosts]:
    is_shared = request.param == "postgresql"
    made = Hosts(tmp_path, request.getfixturevalue("server").migrated() if is_shared else "sqlite:///x.db")
    yield made
    for database in made.opened:
        database.close()


def write(database: Database, job: str) -> None:
    moment = sa.func.current_timestamp()
    with database.writer() as connection:
        connection.execute(sa.insert(heartbeats).values(job=job, due=moment, failures=0, late_at=moment))


def written(database: Database) -> list[str]:
    with database.reader() as connection:
        return sorted(connection.execute(sa.select(heartbeats.c.job)).scalars())


@pytest.mark.parametrize("other", [0, 1], ids=["same host", "another host"])
def test_whoever_cannot_get_it_waits_and_says_for_whom(hosts: Hosts, other: int) -> None:
    _, mine = hosts.lease(0, HASTY)
    _, theirs = hosts.lease(other, IMPATIENT)
    told: list[Holder] = []
    with (
        mine.held("pull nightly", nobody),
        pytest.raises(WorkFailed, match=f"pull nightly by process {os.getpid()} on "),
        theirs.held("assess", told.append),
    ):
        pass
    assert [(holder.what, holder.pid) for holder in told] == [("pull nightly", os.getpid())]
    with theirs.held("assess", nobody):
        pass


def test_it_is_had_as_soon_as_it_is_given_back(hosts: Hosts) -> None:
    _, mine = hosts.lease(0, HASTY)
    _, theirs = hosts.lease(1, HASTY)
    order = []

    def wait_and_work() -> None:
        with theirs.held("assess", lambda holder: order.append(f"waits for {holder.what}")):
            order.append("assess")

    with mine.held("pull", nobody):
        other = threading.Thread(target=wait_and_work)
        other.start()
        while not order:
            time.sleep(0.01)
        order.append("pull")
    other.join()
    assert order == ["waits for pull", "pull", "assess"]


def test_it_may_be_taken_again_by_who_holds_it(hosts: Hosts) -> None:
    database, mine = hosts.lease(0, HASTY)
    with mine.held("pull", nobody):
        with mine.held("repair", nobody):
            write(database, "inside")
        write(database, "outside")
        assert mine.holder() is not None
    assert mine.holder() is None
    assert written(database) == ["inside", "outside"]


def test_one_that_is_renewed_is_kept_for_as_long_as_the_work_takes(hosts: Hosts) -> None:
    database, mine = hosts.lease(0, HASTY)
    _, theirs = hosts.lease(1, Pace(poll_s=0.02, lost_after_s=0.5, patience_s=1.5))
    with mine.held("assess", nobody):
        with pytest.raises(WorkFailed, match="waited 2 s for assess"), theirs.held("pull", lambda _: None):
            pass
        write(database, "after three times as long as a lost one lasts")
    assert len(written(database)) == 1


def test_one_that_is_not_renewed_is_lost_and_its_holder_writes_no_more(hosts: Hosts) -> None:
    frozen_database, frozen = hosts.lease(0, NEVER_RENEWED)
    database, theirs = hosts.lease(1, HASTY)
    with frozen.held("assess", nobody):
        write(frozen_database, "before")
        begun = time.monotonic()
        with theirs.held("pull", lambda _: None):
            assert time.monotonic() - begun > NEVER_RENEWED.lost_after_s
            with pytest.raises(LeaseLost):
                write(frozen_database, "by a process that slept")
            with pytest.raises(LeaseLost):
                frozen.confirm()
            theirs.confirm()
            write(database, "by the new holder")
        with pytest.raises(LeaseLost):
            write(frozen_database, "after the new holder is done")
    assert written(database) == ["before", "by the new holder"]


def test_a_lost_one_is_known_by_its_generation_however_sure_its_holder_is(hosts: Hosts) -> None:
    """The holder's own clock stood still (a machine put to sleep): only the row can tell."""
    asleep = Pace(poll_s=0.02, renew_s=60.0, lost_after_s=0.5, monotonic=lambda: 0.0)
    frozen_database, frozen = hosts.lease(0, asleep)
    database, theirs = hosts.lease(1, HASTY)
    with frozen.held("assess", nobody), theirs.held("pull", lambda _: None):
        with pytest.raises(LeaseLost):
            write(frozen_database, "by a process that slept")
        with database.reader() as connection:
            assert connection.execute(sa.select(leases.c.generation)).scalar() == 2
    assert written(database) == []


def test_a_store_that_lost_its_lease_commits_neither_readings_nor_hours(site: SiteFolder) -> None:
    rows = pd.DataFrame({"fan": ["A"], "time": pd.to_datetime(["2025-03-01T00:00Z"]), "speed": [1.0]})
    with open_store(site) as store, store.working("pull"):
        store.hours.append(rows, 1)
        with store.database.unchecked_writer() as connection:  # as another host takes a silent one over
            connection.execute(sa.update(leases).values(generation=leases.c.generation + 1, beats=0))
        with pytest.raises(LeaseLost):
            store.hours.append(rows, 2)
        with pytest.raises(LeaseLost):
            store.hours.clear()
        with pytest.raises(LeaseLost):
            store.table("generation").table.append(READINGS_SCHEMA.empty_table(), 1)
        assert store.hours.latest_revision() == 1
        assert not store.table("generation").table.has_marker(1)


def test_one_left_by_a_killed_process_of_this_machine_is_had_at_once(tmp_path: Path) -> None:
    command = [sys.executable, "-c", HOLD_AND_HANG, str(tmp_path)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        process.send_signal(signal.SIGKILL)
    database = Database("sqlite:///x.db", tmp_path)
    mine = Lease(database, tmp_path, "writing")
    assert mine.holder() is not None  # the row says nothing of the kill
    begun = time.monotonic()
    with mine.held("pull", nobody):
        assert time.monotonic() - begun < 5.0
    database.close()
