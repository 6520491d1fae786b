"""Compaction changes files, never readings: not what is read, and not who wins a conflict later."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from config import load_site
from service.store import open_store


def fill(plant: Any) -> None:
    for day in range(1, 5):
        lines = "".join(
            f"2025-0{2 + day % 2}-0{day} 0{hour}:00,{10 * day + hour},{hour}\n" for hour in range(8)
        )
        plant.drop(f"{day}.csv", f"Time,SF1 speed,EF1 amps\n{lines}", 1000.0 * day)
        plant.pull()
    plant.drop("speed.csv", "Time,SF1 amps\n2025-03-01 03:00,7\n2025-03-09 03:00,7\n", 5.0)
    plant.pull()
    plant.drop("late.csv", "Time,EF1 amps\n2025-03-01 03:00,99\n2025-03-09 03:00,9\n", 7.0)
    plant.pull()


def compact(plant: Any) -> tuple[str, ...]:
    with open_store(load_site(plant.folder)) as store:
        return store.compact()


def files_by_month(plant: Any) -> dict[str, int]:
    with open_store(load_site(plant.folder)) as store:
        readings = store.current_readings()
        assert readings is not None
        return readings.table.files_by_month()


def test_each_month_becomes_one_file_that_reads_the_same(plant: Any) -> None:
    fill(plant)
    before = plant.readings()
    assert max(files_by_month(plant).values()) > 1
    assert compact(plant) == ("2025-02", "2025-03")
    assert set(files_by_month(plant).values()) == {1}
    pd.testing.assert_frame_equal(plant.readings(), before)
    assert compact(plant) == ()
    assert plant.pull().skipped == 6


@pytest.mark.long
def test_conflicts_after_it_end_as_without_it(plants: Callable[[], Any]) -> None:
    plain, compacted = plants(), plants()
    ends = []
    for plant in (plain, compacted):
        fill(plant)
        if plant is compacted:
            compact(plant)
        for place, modified in enumerate((3.0, 6.0, 9.0)):
            text = f"Time,EF1 amps,SF1 amps\n2025-03-01 03:00,{50 + place},{60 + place}\n"
            text += f"2025-03-09 03:00,,{place}\n"
            plant.drop(f"more {place}.csv", text, modified)
            plant.pull()
        ends.append(plant.readings())
    pd.testing.assert_frame_equal(ends[1], ends[0])


def test_an_empty_store_has_nothing_to_compact(plant: Any) -> None:
    assert compact(plant) == ()
