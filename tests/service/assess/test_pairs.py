"""Tachometer pairs of the service log: the level they set, the change they fix, the ones that are refused."""

import datetime as dt
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from demo_trends.truth import daily
from tests.service.assess.conftest import DAYS, FIRST, SLIPPING, ZONE, Plant

READ_ON = dt.date(2025, 3, 10)
HEALTHY_ON = dt.date(2025, 2, 25)
NUMBERS = ["slip_pct", "slip_ref_pct", "drive_loss_pct", "cause"]


def speeds(plant: Plant, date: dt.date, hour: int = 10) -> tuple[float, float]:
    """The true speeds of both shafts at an hour of the plant's clock."""
    (run,) = [run for run in plant.runs if run.plan.name == SLIPPING]
    at = dt.datetime.combine(date, dt.time(hour, 30), tzinfo=ZoneInfo(ZONE)).astimezone(dt.UTC)
    turning = run.truth.loc[at]
    return float(turning["motor_rpm"]), float(turning["wheel_rpm"])


def entry(plant: Plant, date: dt.date, *, factor: float = 1.0, work: str = "inspected") -> str:
    motor, wheel = speeds(plant, date)
    return f"{SLIPPING},{date},10:30,{work},{motor:.1f},{factor * wheel:.1f}"


def true_day(plant: Plant, date: dt.date) -> "pd.Series[float]":
    (run,) = [run for run in plant.runs if run.plan.name == SLIPPING]
    return daily(run.truth, ZONE).loc[date].astype(float)


def number(row: "pd.Series[object]", name: str) -> float:
    return float(row[name])  # type: ignore[arg-type]


def test_a_pair_brings_the_level_to_the_truth_and_earlier_rows_keep_their_numbers(
    whole: Plant, plant: Plant
) -> None:
    plant.log(entry(plant, READ_ON))
    plant.assess()
    before, after = whole.daily(SLIPPING), plant.daily(SLIPPING)
    is_earlier = before["date"] < READ_ON
    assert before[is_earlier].equals(after[is_earlier])
    row = plant.row(SLIPPING, READ_ON)
    assert "tachometer pair shows" in str(row["note"])
    true = true_day(plant, READ_ON)["slip_pct"]
    assert number(row, "slip_pct") == pytest.approx(true, abs=0.4)
    assert number(row, "slip_low_pct") < true < number(row, "slip_high_pct")
    assert not before[~is_earlier][NUMBERS].equals(after[~is_earlier][NUMBERS])


@pytest.mark.parametrize("factor", [0.5, 2.0, 0.88, 1.08])
def test_an_impossible_pair_is_refused_with_its_reason_and_moves_nothing(
    factor: float, whole: Plant, plant: Plant
) -> None:
    plant.log(entry(plant, READ_ON, factor=factor))
    plant.assess()
    assert "tachometer pair refused" in str(plant.row(SLIPPING, READ_ON)["note"])
    assert plant.daily(SLIPPING)[NUMBERS].equals(whole.daily(SLIPPING)[NUMBERS])


def test_swapped_numbers_are_refused(plant: Plant) -> None:
    motor, wheel = speeds(plant, READ_ON)
    plant.log(f"{SLIPPING},{READ_ON},10:30,inspected,{wheel:.0f},{motor:.0f}")
    plant.assess()
    assert "swapped numbers" in str(plant.row(SLIPPING, READ_ON)["note"])


def test_two_pairs_fix_the_change_whatever_the_sheaves_are(plant: Plant) -> None:
    # Pitch diameters 1.5 % off: both readings are low by as much, their difference is not.
    plant.log(entry(plant, HEALTHY_ON, factor=0.985), entry(plant, READ_ON, factor=0.985))
    plant.assess()
    assert len(plant.query("select * from tachometer_pairs where is_taught")) == 2
    true = true_day(plant, READ_ON)["slip_change_pct"]
    assert number(plant.row(SLIPPING, READ_ON), "slip_change_pct") == pytest.approx(true, abs=0.4)


def test_a_pair_taken_back_takes_its_level_back(whole: Plant, plant: Plant) -> None:
    plant.log(entry(plant, READ_ON))
    plant.assess()
    (plant.folder / "service_log.csv").unlink()
    plant.assess()
    assert plant.everything() == whole.everything()


@pytest.mark.long
def test_pairs_met_night_by_night_give_the_same_bits(plant: Plant, new_plant: Callable[..., Plant]) -> None:
    entries = [entry(plant, HEALTHY_ON), f"{SLIPPING},2025-03-09,11:00,retensioned,,", entry(plant, READ_ON)]
    entries.append(entry(plant, dt.date(2025, 3, 12), factor=2.0))
    plant.log(*entries)
    plant.assess()
    nightly = new_plant()
    nightly.drop("history.csv", FIRST, dt.date(2025, 3, 5))
    nightly.log(*entries)
    for day in range(6, 15):
        nightly.pull()
        nightly.assess()
        nightly.drop(f"{day}.csv", dt.date(2025, 3, day), dt.date(2025, 3, day))
    nightly.drop("rest.csv", dt.date(2025, 3, 15), FIRST + dt.timedelta(days=DAYS))
    nightly.pull()
    nightly.assess()
    assert nightly.everything() == plant.everything()
