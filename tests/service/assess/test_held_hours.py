"""Logs on change and points at times of their own give the hours that a regular log of the same fan gives."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from config import load_site
from service.assess.hours_upkeep import keep_hours
from service.intake import pull
from service.store import open_store
from tests.service.databases import database_line

START = dt.datetime(2025, 3, 3, 7, 0, tzinfo=dt.UTC)  # midnight in Denver
MINUTES = 3 * 24 * 60
SITE = """
name = "S"
timezone = "America/Denver"
[units]
airflow = "m3/s"
pressure = "Pa"
[[sources]]
zone = "UTC"
"""
FANS = """fan,drive,motor_kw,motor_fla,speed_point,current_point,airflow_point,pressure_point
A,v_belt,11,20,N,I,Q,P
"""
POINTS = {"N": "speed_fraction", "I": "current_a", "Q": "airflow_m3s", "P": "pressure_pa"}


@pytest.fixture(scope="module")
def truth() -> dict[str, np.ndarray]:
    """Three days minute by minute: off by night, a slow swing by day, quantised as sensors are."""
    minute = np.arange(MINUTES)
    hour = minute / 60.0 % 24.0
    runs = (hour >= 6.0) & (hour < 20.0)
    speed = np.where(runs, np.round(75.0 + 4.0 * np.sin(minute / 170.0)), 0.0)
    wave = np.random.default_rng(3).normal(0.0, 0.01, MINUTES).cumsum() * 0.02
    share = speed / 100.0
    return {
        "N": speed,
        "I": np.where(runs, np.round(18.0 * share**2 + wave, 1), 0.0),
        "Q": np.where(runs, np.round(8.0 * share + wave, 1), 0.0),
        "P": np.where(runs, np.round((600.0 * share**2 + 20.0 * wave) / 5.0) * 5.0, 0.0),
    }


def on_change(truth: dict[str, np.ndarray]) -> list[tuple[int, str, float]]:
    rows = []
    for point, values in truth.items():
        changed = np.flatnonzero(np.append(True, np.diff(values) != 0.0))
        heard = np.arange(0, MINUTES, 60)  # and at least once an hour
        rows += [(int(at), point, float(values[at])) for at in np.union1d(changed, heard)]
    return sorted(rows)


def at_intervals(truth: dict[str, np.ndarray], minutes: dict[str, int]) -> list[tuple[int, str, float]]:
    return sorted(
        (at, point, float(truth[point][at]))
        for point, step in minutes.items()
        for at in range(0, MINUTES, step)
    )


class Site:
    def __init__(self, folder: Path) -> None:
        (folder / "drop").mkdir(parents=True)
        (folder / "site.toml").write_text(database_line(folder) + SITE)
        (folder / "fans.csv").write_text(FANS)
        self.folder, self.count = folder, 0

    def take(self, rows: list[tuple[int, str, float]]) -> None:
        lines = [
            f"{START + dt.timedelta(minutes=at):%Y-%m-%d %H:%M},{point},{value}" for at, point, value in rows
        ]
        self.count += 1
        (self.folder / "drop" / f"{self.count}.csv").write_text(
            "Time,Point,Value\n" + "\n".join(lines) + "\n"
        )
        site = load_site(self.folder)
        with open_store(site) as store:
            report = pull(site, store, clock=lambda: START + dt.timedelta(days=30))
            assert sum(file.refused for file in report.files) == 0
            keep_hours(site, store)

    def hours(self) -> pd.DataFrame:
        site = load_site(self.folder)
        with open_store(site) as store:
            return store.hours.read(["A"], START, START + dt.timedelta(days=4)).set_index("time")


@pytest.fixture
def new_site(tmp_path: Path) -> Callable[[], Site]:
    numbers = iter(range(99))
    return lambda: Site(tmp_path / f"site {next(numbers)}")


@pytest.mark.parametrize(
    "log",
    [on_change, lambda truth: at_intervals(truth, {"N": 15, "I": 15, "Q": 5, "P": 10})],
    ids=["on change", "mixed intervals"],
)
def test_hours_are_those_of_a_regular_log(
    truth: dict[str, np.ndarray],
    new_site: Callable[[], Site],
    log: Callable[..., list[tuple[int, str, float]]],
) -> None:
    regular, other = new_site(), new_site()
    regular.take(at_intervals(truth, dict.fromkeys(POINTS, 1)))
    other.take(log(truth))
    known, found = regular.hours(), other.hours().reindex(regular.hours().index)
    daily = known["running"] == 1.0
    assert daily.sum() == 3 * 14
    assert (found["running"][daily] == 1.0).all()
    assert (found["running"][known["running"] == 0.0] == 0.0).all()
    assert (found["is_steady"] == known["is_steady"]).mean() > 0.95
    for column in POINTS.values():
        error = (found[column] / known[column] - 1.0)[daily & known["is_steady"]]
        assert np.sqrt(np.mean(error**2)) < 0.01, column


def test_hours_are_the_same_in_whatever_pieces_the_log_comes(
    truth: dict[str, np.ndarray], new_site: Callable[[], Site]
) -> None:
    whole, pieces = new_site(), new_site()
    rows = on_change(truth)
    whole.take(rows)
    cuts = [0, len(rows) // 5, len(rows) // 3, len(rows) // 2, len(rows)]
    for number in (2, 0, 3, 1):
        pieces.take(rows[cuts[number] : cuts[number + 1]])
    pd.testing.assert_frame_equal(pieces.hours(), whole.hours())


def test_an_export_without_a_fans_point_makes_no_hours(new_site: Callable[[], Site]) -> None:
    site = new_site()
    site.take([(600, "somebody else's point", 1.0)])
    with open_store(load_site(site.folder)) as store:
        assert store.hours.columns() == ()
