"""A clock that was set, or runs slow, seen across the files of a source."""

import datetime as dt
from typing import Any

import pytest

from service.intake.clocks import clock_trouble

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US


def files(lags_min: list[float]) -> list[tuple[int, int]]:
    """Return newest record and time of writing of a file a night."""
    return [
        (day * DAY_US + 10 * DAY_US - round(lag * HOUR_US / 60), day * DAY_US + 10 * DAY_US)
        for day, lag in enumerate(lags_min)
    ]


@pytest.mark.parametrize(
    ("lags_min", "said"),
    [
        ([5, 6, 5, 7, 5, 6, 5, 6], ""),
        ([5, 6, 5, 7, 5, 6, 65], "60 min earlier"),
        ([65, 66, 65, 64, 65, 66, 5], "60 min later"),
        ([5, 600, 5, 900, 40, 6, 65], ""),  # files of this source come whenever they come
        ([5, 6, 65], ""),  # too few to tell
        ([5 + 0.5 * day for day in range(12)], "run slow: by 6 min over 11 days"),
        ([20 - 0.6 * day for day in range(12)], "run fast: by 7 min over 11 days"),
    ],
)
def test_a_step_and_a_drift_are_told_from_what_is_usual(lags_min: list[float], said: str) -> None:
    *earlier, (newest, written) = files(lags_min)
    found = clock_trouble(earlier, newest, written)
    assert (said in found) if said else not found


def test_a_pull_says_that_a_clock_was_set_and_stores_what_the_file_says(plant: Any) -> None:
    for day in range(1, 9):
        hour = 22 if day == 8 else 23
        plant.drop(f"{day}.csv", f"Time,SF1 amps\n2025-03-0{day} {hour}:50,{day}\n", written(day))
        report = plant.pull()
    assert "60 min earlier" in report.notes[0]
    assert "60 min earlier" in plant.intake().iloc[-1]["decided"]
    assert plant.cells("SF-1", "current_a")["2025-03-08T22:50:00Z"] == 8.0


def written(day: int) -> float:
    return dt.datetime(2025, 3, day + 1, tzinfo=dt.UTC).timestamp()
