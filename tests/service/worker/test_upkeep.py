"""Upkeep: fewer files and rows, nothing else changed."""

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from config import load_site
from service.store import open_store
from service.store.hours import Hours
from service.store.runs import RunOutcome
from service.worker.jobs import keep_up
from tests.service.worker.hall import Hall, Story

NOW = dt.datetime(2025, 6, 1, 8, tzinfo=dt.UTC)
START = pd.Timestamp("2025-03-03", tz="UTC")


def some_hours(first: int, last: int, value: float) -> pd.DataFrame:
    times = [START + pd.Timedelta(hours=hour) for hour in range(first, last)]
    return pd.DataFrame({"fan": "SF-1", "time": times, "speed": [value] * len(times)})


def test_hours_in_many_files_become_one_and_say_the_same(tmp_path: Path) -> None:
    hours = Hours(str(tmp_path / "hours"))
    for revision in range(1, 11):  # each goes over half of what the one before wrote
        hours.append(some_hours(12 * revision, 12 * revision + 24, float(revision)), revision)
    span = (["SF-1"], START.to_pydatetime(), (START + pd.Timedelta(days=9)).to_pydatetime())
    before = hours.read(*span)
    assert len(before) == 12 * 11
    assert hours.compact(keep_files=8) == ["2025-03"]
    pd.testing.assert_frame_equal(Hours(str(tmp_path / "hours")).read(*span), before)
    assert hours.latest_revision() == 10
    assert hours.compact(keep_files=8) == []
    assert hours.vacuum(keep_hours=0) == 10
    pd.testing.assert_frame_equal(Hours(str(tmp_path / "hours")).read(*span), before)


@pytest.mark.parametrize(("days", "kept"), [(1, ["busy", "idle"]), (3, ["busy"]), (401, [])])
def test_old_runs_go_and_idle_ones_sooner(tmp_path: Path, days: int, kept: list[str]) -> None:
    site = load_site(Hall.founded(tmp_path / "site", Story(dt.date(2025, 3, 3), 1, 60)).folder)
    begun = NOW - dt.timedelta(days=days)
    with open_store(site) as store:
        for job, counts in (("busy", {"files": 2}), ("idle", {"files": 0})):
            store.runs.meet(job, begun, begun)
            run = store.runs.begin(job, begun, begun)
            store.runs.end(run, begun, RunOutcome.DONE, counts=counts, late_at=begun)
        keep_up(site, store, lambda: NOW, NOW)
        assert sorted(run.job for run in store.runs.latest(10)) == kept
        assert store.runs.beats() == {}  # the site has no such jobs
