"""A backup taken while a site works, and the site made of it, which goes on as if nothing had happened."""

import datetime as dt
import itertools
import os
import signal
import subprocess
import sys
import tarfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import sqlalchemy as sa

from config import load_site
from service.assess.hours_upkeep import keep_hours
from service.failure import WorkFailed
from service.intake import export_intake, export_readings
from service.store import open_store
from service.store.backup import Backup, back_up
from service.store.hold_tables import holds
from service.store.holding import LAPSE, held_by, holding
from service.store.restore import restore, with_key
from tests.service.assess.conftest import DAYS, FIRST, Plant
from tests.service.databases import is_postgresql
from tests.service.server import Server

ROOT = Path(__file__).parents[3]
NOW = dt.datetime(2025, 6, 1, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)
DIE = """
import datetime as dt, itertools, os, signal, sys
from pathlib import Path
from config import load_site
from service.store import open_store
from service.store.backup import back_up
from service.store.restore import restore

words, last, (one, other, *more) = itertools.count(), int(sys.argv[1]), sys.argv[2:]

def say(word):
    if next(words) == last:
        os.kill(os.getpid(), signal.SIGKILL)
"""
BACK_UP = f"""{DIE}
site = load_site(Path(one))
with open_store(site) as store:
    back_up(site, store, Path(other), lambda: dt.datetime.now(dt.UTC), say)
"""
RESTORE = f"""{DIE}
restore(Path(one), Path(other), *more, say=say)
"""
# Takes a night a pass, and judges after each, until all are in.
WORK = """
import datetime as dt, sys
from pathlib import Path
from config import load_site
from service.alerts import keep_alerts
from service.assess import assess
from service.intake import pull
from service.store import open_store

folder = Path(sys.argv[1])
site = load_site(folder)
for file in sorted((folder / "nights").iterdir()):
    file.rename(folder / "drop" / file.name)
    with open_store(site) as store:
        pull(site, store, clock=lambda: dt.datetime(2025, 7, 1, 6, tzinfo=dt.UTC))
        if file.name > "40":
            with store.working("assess"):
                assess(site, store, None)
"""


def backed_up(plant: Plant, to: Path, say: Callable[[str], None] = lambda _name: None) -> Backup:
    site = load_site(plant.folder)
    with open_store(site) as store:
        return back_up(site, store, to, lambda: dt.datetime.now(dt.UTC), say)


def restored(backup: Backup, folder: Path, **places: str) -> Plant:
    site = restore(backup.path, folder, **places)
    with open_store(site) as store:
        keep_hours(site, store)
    return Plant(folder, [])


def exports_of(plant: Plant) -> dict[str, pd.DataFrame]:
    site = load_site(plant.folder)
    with open_store(site) as store:
        found = {"readings": export_readings(site, store), "intake": export_intake(store)}
    return {**found, "daily": plant.daily(), "alerts": plant.alerts()}


def assert_same(one: dict[str, Any], other: dict[str, Any]) -> None:
    for name, frame in one.items():
        pd.testing.assert_frame_equal(frame, other[name])


@pytest.fixture(params=["sqlite", "postgresql"])
def places(request: pytest.FixtureRequest) -> dict[str, str]:
    """Where a restored site's database goes."""
    if request.param == "sqlite":
        return {"database": "sqlite:///state/slipledger.db"}
    server: Server = request.getfixturevalue("server")
    return {"database": server.empty()}


@pytest.fixture
def aside(request: pytest.FixtureRequest) -> dict[str, str]:
    """A place beside the site's own database, where that is on a server and so not in the restored folder."""
    return {"database": request.getfixturevalue("server").empty()} if is_postgresql() else {}


def test_a_restored_site_is_the_same_and_judges_nothing_anew(
    plant: Plant, tmp_path: Path, places: dict[str, str]
) -> None:
    copy = restored(backed_up(plant, tmp_path), tmp_path / "new", **places)
    assert_same(exports_of(copy), exports_of(plant))
    assert copy.everything() == plant.everything()
    assert copy.assess() == ()
    assert copy.everything() == plant.everything()


@pytest.mark.long
def test_a_restored_site_goes_on_to_where_an_undisturbed_one_ends(
    whole: Plant, new_plant: Callable[..., Plant], tmp_path: Path, aside: dict[str, str]
) -> None:
    plant = new_plant()
    plant.drop("1.csv", FIRST, FIRST + 44 * DAY)
    plant.pull()
    plant.assess()
    kept = backed_up(plant, tmp_path / "a backup.tar")
    plant.drop("2.csv", FIRST + 45 * DAY, FIRST + DAYS * DAY)
    plant.pull()  # the table of readings is now ahead of the backup
    copy = restored(kept, tmp_path / "new", **aside)
    assert copy.daily()["date"].max() < FIRST + 45 * DAY
    (copy.folder / "drop" / "2.csv").write_bytes((plant.folder / "drop" / "2.csv").read_bytes())
    copy.pull()
    copy.assess()
    mine, theirs = copy.everything(), whole.everything()
    assert {name: mine[name] for name in ("daily", "findings", "fan_days")} == {
        name: theirs[name] for name in ("daily", "findings", "fan_days")
    }


def test_readings_that_come_during_a_backup_are_not_half_in_it(
    plant: Plant, tmp_path: Path, aside: dict[str, str]
) -> None:
    before = exports_of(plant)

    def work(name: str) -> None:
        if name.startswith("database"):  # the SQL state is taken, the readings are not
            plant.drop_span("late.csv", plant.midnight(FIRST), plant.midnight(FIRST + DAY))
            text = (plant.folder / "drop" / "late.csv").read_text()
            (plant.folder / "drop" / "late.csv").write_text(text.replace("2025-01-2", "2025-03-3"))
            plant.pull()
            with open_store(load_site(plant.folder)) as store:
                store.compact()
                assert store.vacuum(0) == 0  # the backup holds the files that were replaced

    kept = backed_up(plant, tmp_path, work)
    assert len(exports_of(plant)["readings"]) > len(before["readings"])
    assert_same(exports_of(restored(kept, tmp_path / "new", **aside)), before)
    with open_store(load_site(plant.folder)) as store:
        assert held_by(store.database, dt.datetime.now(dt.UTC)) is None
        assert store.vacuum(0) > 0


def test_a_hold_lapses_with_its_process(plant: Plant) -> None:
    with open_store(load_site(plant.folder)) as store:
        with holding(store.database, "a backup", lambda: NOW):
            assert held_by(store.database, NOW + LAPSE) == "a backup"
            assert held_by(store.database, NOW + 2 * LAPSE) is None
        with store.reader() as connection:
            assert connection.execute(sa.select(holds)).all() == []


def test_what_cannot_be_restored_is_said_and_leaves_nothing(plant: Plant, tmp_path: Path) -> None:
    kept = backed_up(plant, tmp_path)
    content = kept.path.read_bytes()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    with pytest.raises(WorkFailed, match="is not empty"):
        restore(kept.path, tmp_path / "full")
    (tmp_path / "short.tar").write_bytes(content[: len(content) // 2])
    with pytest.raises(WorkFailed, match="short"):
        restore(tmp_path / "short.tar", tmp_path / "new")
    with tarfile.open(kept.path) as tar:
        place = next(entry for entry in tar if entry.name.startswith("exports/")).offset_data
    spoilt = bytearray(content)
    spoilt[place] ^= 1
    (tmp_path / "spoilt.tar").write_bytes(spoilt)
    with pytest.raises(WorkFailed, match="is damaged: exports/"):
        restore(tmp_path / "spoilt.tar", tmp_path / "new")
    assert not (tmp_path / "new").exists()
    assert not [path for path in tmp_path.iterdir() if "restoring" in path.name or "partial" in path.name]


@pytest.mark.parametrize(
    ("text", "changed"),
    [
        ('name = "S"\n[mail]\ndatabase = 1\n', 'database = "x"\nname = "S"\n[mail]\ndatabase = 1\n'),
        ('name = "S"\ndatabase = "y"  # old\n', 'name = "S"\ndatabase = "x"\n'),
    ],
)
def test_one_key_of_the_sites_file_is_changed_and_nothing_else(text: str, changed: str) -> None:
    assert with_key(text, "database", "x") == changed


def test_what_a_killed_backup_left_goes_the_next_day(plant: Plant, tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    left = [tmp_path / "kept" / "a.tar.77.slipledger-partial", tmp_path / "kept" / ".slipledger-backup-x"]
    left[0].write_text("cut short")
    left[1].mkdir()
    running = tmp_path / "kept" / "b.tar.78.slipledger-partial"
    running.write_text("still written to")
    for one in left:
        os.utime(one, (time.time() - 90_000,) * 2)
    kept = backed_up(plant, tmp_path / "kept")
    assert sorted((tmp_path / "kept").iterdir()) == sorted([running, kept.path])


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_backup_killed_anywhere_leaves_no_file_that_could_be_taken_for_one(
    plant: Plant, tmp_path: Path, aside: dict[str, str]
) -> None:
    before = exports_of(plant)
    steps = killed_anywhere(BACK_UP, str(plant.folder), str(tmp_path / "kept.tar"))
    ends = Counter[bool]()
    for is_killed in steps:
        assert (tmp_path / "kept.tar").exists() is not is_killed
        ends[is_killed] += 1
    assert ends[True] >= 8
    assert_same(exports_of(plant), before)
    with open_store(load_site(plant.folder)) as store:
        assert held_by(store.database, dt.datetime.now(dt.UTC) + 2 * LAPSE) is None
    again = Backup(tmp_path / "kept.tar", 0, 0, 0, 0)
    assert_same(exports_of(restored(again, tmp_path / "new", **aside)), before)


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_restore_killed_anywhere_leaves_nothing_where_the_site_is_to_be(
    plant: Plant, tmp_path: Path, places: dict[str, str]
) -> None:
    kept = backed_up(plant, tmp_path / "kept.tar")
    new = tmp_path / "new"
    ends = Counter[bool]()
    for is_killed in killed_anywhere(RESTORE, str(kept.path), str(new), places["database"]):
        assert new.exists() is not is_killed
        ends[is_killed] += 1
    assert ends[True] >= 8
    with open_store(load_site(new)) as store:
        keep_hours(load_site(new), store)
    assert_same(exports_of(Plant(new, [])), exports_of(plant))
    assert not [path for path in tmp_path.iterdir() if "restoring" in path.name]


def killed_anywhere(program: str, *arguments: str) -> Iterator[bool]:
    """Run a program that dies at its n-th step, for ever greater n, until one ends; yield if it died."""
    for step in itertools.count():
        command = [sys.executable, "-c", program, str(max(step, int(1.3**step))), *arguments]
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        assert code in (0, -signal.SIGKILL)
        yield code != 0
        if code == 0:
            return


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_backups_under_load_each_go_on_to_the_same_end(
    new_plant: Callable[..., Plant], tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    plant = new_plant()
    (plant.folder / "nights").mkdir()
    for day in range(DAYS):
        plant.drop(f"{day:02d}.csv", FIRST + day * DAY, FIRST + day * DAY)
        (plant.folder / "drop" / f"{day:02d}.csv").rename(plant.folder / "nights" / f"{day:02d}.csv")
    working = subprocess.Popen([sys.executable, "-c", WORK, str(plant.folder)], cwd=ROOT)
    taken = []
    while working.poll() is None:
        taken.append(backed_up(plant, tmp_path / f"{len(taken)}.tar"))
    assert working.wait() == 0
    end = plant.everything()
    for number in sorted({len(taken) * share // 6 for share in range(6)}):
        server = request.getfixturevalue("server") if is_postgresql() else None
        place = {} if server is None else {"database": server.empty()}
        copy = restored(taken[number], tmp_path / f"new {number}", **place)
        for night in (plant.folder / "drop").iterdir():
            (copy.folder / "drop" / night.name).write_bytes(night.read_bytes())
        copy.pull()
        copy.assess()
        found = copy.everything()
        assert {name: found[name] for name in ("daily", "findings")} == {
            name: end[name] for name in ("daily", "findings")
        }
    assert len(taken) >= 6
