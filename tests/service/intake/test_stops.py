"""Promise 5: a pull stopped dead anywhere, then run again, ends where an undisturbed one does."""

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from config import load_site
from service.intake import export_intake, pull
from service.store import faults, open_store
from service.store.store import Store
from tests.service.intake.conftest import NOW
from tests.service.processes import exit_code_of

ROOT = Path(__file__).parents[3]
POINTS = (
    faults.EXPORT_KEPT,
    faults.PASS_INTENDED,
    faults.DELTA_COMMITTED,
    faults.PASS_DONE,
    faults.GENERATION_BUILT,
)


def pull_and_die(folder: Path, point: str, again: bool, small: bool) -> None:
    """Pull in a process of its own, which dies without any cleaning up when it reaches a point."""
    if small:
        sys.modules["service.intake.pull"].PASS_VALUES = 1  # type: ignore[attr-defined]
    site = load_site(folder)
    with open_store(site, partial(_end_at, point)) as store:
        pull(site, store, again=again, clock=lambda: NOW)


def compact_and_die(folder: Path, point: str) -> None:
    with open_store(load_site(folder), partial(_end_at, point)) as store:
        store.compact()


def _end_at(point: str, reached: str) -> None:
    if reached == point:
        os._exit(9)


def die(plant: Any, point: str, *, again: bool = False, small: bool = False) -> int | None:
    return exit_code_of(pull_and_die, plant.folder, point, again, small)


def fill(plant: Any) -> None:
    for day in range(1, 5):
        lines = "".join(f"2025-03-0{day} 0{hour}:00,{10 * day + hour},{hour}\n" for hour in range(8))
        plant.drop(f"{day}.csv", f"Time,SF1 speed,EF1 amps\n{lines}", 1000.0 * day)
    plant.drop("late.csv", "Time,EF1 amps\n2025-03-01 03:00,99\n2025-03-09 03:00,9\n", 1.0)


def end_state(plant: Any) -> tuple[Any, ...]:
    """Return everything a person can see, without the ids of passes."""
    touched = plant.ledger(
        "select distinct fan, date from touched_days join passes on passes.id = pass_id "
        "where state = 'done' order by fan, date"
    )
    states = plant.ledger("select distinct state from passes")
    seen = plant.ledger(
        "select name, file from points_seen join exports on exports.id = export_id order by 1, 2"
    )
    return plant.readings(), plant.intake().sort_values("file", ignore_index=True), touched, states, seen


def assert_same_end(stopped: Any, undisturbed: Any) -> None:
    one, other = end_state(stopped), end_state(undisturbed)
    pd.testing.assert_frame_equal(one[0], other[0])
    pd.testing.assert_frame_equal(one[1], other[1])
    assert one[2:] == other[2:]
    assert other[3] == [("done",)]


@pytest.mark.parametrize("small", [False, True], ids=["one commit", "a commit a file"])
@pytest.mark.parametrize("point", POINTS[:4])
def test_a_pull_stopped_and_run_again(plants: Callable[[], Any], point: str, small: bool) -> None:
    undisturbed, stopped = plants(), plants()
    for plant in (undisturbed, stopped):
        fill(plant)
    undisturbed.pull()
    assert die(stopped, point, small=small) == 9
    stopped.pull()
    assert_same_end(stopped, undisturbed)


@pytest.mark.parametrize("point", POINTS[1:])
@pytest.mark.long
def test_a_rebuild_stopped_and_run_again(plants: Callable[[], Any], point: str) -> None:
    undisturbed, stopped = plants(), plants()
    for plant in (undisturbed, stopped):
        fill(plant)
        plant.pull()
    before = stopped.readings()
    undisturbed.pull(again=True)
    assert die(stopped, point, again=True) == 9
    pd.testing.assert_frame_equal(stopped.readings(), before)
    stopped.pull(again=True)
    pd.testing.assert_frame_equal(stopped.readings(), undisturbed.readings())
    assert len(stopped.intake()) == len(undisturbed.intake())
    folders = [path.name for path in (stopped.folder / "state" / "readings").iterdir()]
    assert len(folders) == 2  # the one that holds and the one it took the place of


def _kills(folder: Path, count: int, seed: int) -> Counter[str]:
    """Kill pulls, rebuilds and compactions at drawn moments; return how many fell into which phase."""
    arguments = [str(folder), str(count), str(seed)]
    ran = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("stopping.py")), *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    lines = ran.stdout.splitlines()
    assert [line for line in lines if not line.endswith(": same")] == []
    return Counter(line.removesuffix(": same") for line in lines)


@pytest.mark.long
def test_a_kill_at_any_moment_and_a_pull_end_where_an_undisturbed_pull_does(tmp_path: Path) -> None:
    assert sum(_kills(tmp_path, 4, 20250301).values()) == 4


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_two_hundred_kills_at_any_moment_and_most_of_them_amid_the_writing(tmp_path: Path) -> None:
    phases = _kills(tmp_path, 220, 20250302)
    print("\n".join(f"{count:4d}  {phase}" for phase, count in phases.most_common()))
    assert sum(count for phase, count in phases.items() if phase != "before the first write") >= 150


@pytest.mark.parametrize("point", [faults.MONTH_COMPACTED])
def test_a_compaction_stopped_between_months_changes_nothing(plant: Any, point: str) -> None:
    fill(plant)
    plant.pull()
    plant.drop("more.csv", "Time,SF1 speed,EF1 amps\n2025-03-02 09:00,1,2\n2025-04-02 09:00,1,2\n", 1.0)
    plant.pull()
    plant.drop("last.csv", "Time,SF1 speed\n2025-03-02 10:00,1\n2025-04-02 10:00,1\n", 1.0)
    plant.pull()
    before = plant.readings()
    assert exit_code_of(compact_and_die, plant.folder, point) == 9
    pd.testing.assert_frame_equal(plant.readings(), before)
    with open_store(load_site(plant.folder)) as store:
        assert store.compact() == ("2025-04",)
    pd.testing.assert_frame_equal(plant.readings(), before)


@pytest.mark.parametrize("point", POINTS[:3])
def test_an_export_that_was_kept_is_read_though_its_source_has_lost_it(plant: Any, point: str) -> None:
    fill(plant)
    assert die(plant, point) == 9
    for path in (plant.folder / "drop").iterdir():
        path.unlink()
    plant.pull()
    kept = plant.ledger("select file from exports order by file")
    read = plant.ledger("select file from intake order by file")
    # Stopped before SQL knew of the exports, they are still in the drop of any real source.
    assert read == kept
    assert len(read) == (0 if point == faults.EXPORT_KEPT else 5)


def test_readers_see_nothing_of_a_pass_that_is_not_done(plant: Any) -> None:
    fill(plant)
    assert die(plant, faults.DELTA_COMMITTED) == 9
    site = load_site(plant.folder)
    with Store(site) as store:  # opened without the repair
        assert export_intake(store).empty
        assert not list(store.touched_by_fan(site.fan_names))
    assert len(plant.intake()) == 5  # the repair at opening finds the commit and finishes the pass


def test_a_new_time_of_a_file_is_not_lost_by_a_stop(plants: Callable[[], Any]) -> None:
    early, late = ("Time,SF1 amps\n2025-03-01 00:00,1\n", "Time,SF1 amps\n2025-03-01 00:00,2\n")
    plant = plants()
    plant.drop("early.csv", early, 1000.0)
    plant.drop("late.csv", late, 2000.0)
    plant.pull()
    plant.drop("early.csv", early, 3000.0)
    assert die(plant, faults.PASS_INTENDED) == 9
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [1.0]
