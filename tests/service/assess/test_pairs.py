"""Tachometer pairs of the service log: the level they set, the change they fix, the ones that are refused."""

import datetime as dt
from collections.abc import Callable

import pytest

from tests.service.assess.conftest import DAYS, FIRST, SLIPPING, ZONE, Plant

READ_ON = dt.date(2025, 3, 10)
HEALTHY_ON = dt.date(2025, 2, 25)
NUMBERS = ["slip_pct", "slip_ref_pct", "drive_loss_pct", "cause"]


def speeds(plant: Plant, date: dt.date, hour: int = 14) -> tuple[float, float]:
    """The true speeds of both shafts at an hour of the plant's clock."""
    (run,) = [run for run in plant.runs if run.plan.name == SLIPPING]
    at = dt.datetime.combine(date, dt.time(hour, 30), tzinfo=plant_zone()).astimezone(dt.UTC)
    turning = run.truth.loc[at]
    return float(turning["motor_rpm"]), float(turning["wheel_rpm"])


def plant_zone() -> dt.tzinfo:
    from zoneinfo import ZoneInfo

    return ZoneInfo(ZONE)


def entry(plant: Plant, date: dt.date, *, factor: float = 1.0, work: str = "inspected") -> str:
    motor, wheel = speeds(plant, date)
    return f"{SLIPPING},{date},14:30,{work},{motor:.1f},{factor * wheel:.1f}"


def true_ref(plant: Plant, date: dt.date) -> float:
    (run,) = [run for run in plant.runs if run.plan.name == SLIPPING]
    at = dt.datetime.combine(date, dt.time(14, 30), tzinfo=plant_zone()).astimezone(dt.UTC)
    return 100.0 * float(run.truth.loc[at, "slip_ref"])


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
    true = true_ref(plant, READ_ON)
    assert abs(float(row["slip_ref_pct"]) - true) < 0.7  # type: ignore[arg-type]
    assert float(row["slip_ref_low_pct"]) < true < float(row["slip_ref_high_pct"])  # type: ignore[arg-type]
    was = whole.row(SLIPPING, READ_ON)
    width = float(row["slip_ref_high_pct"]) - float(row["slip_ref_low_pct"])  # type: ignore[arg-type]
    assert width < float(was["slip_ref_high_pct"]) - float(was["slip_ref_low_pct"])  # type: ignore[arg-type]
    assert not before[~is_earlier][NUMBERS].equals(after[~is_earlier][NUMBERS])


@pytest.mark.parametrize("factor", [0.5, 2.0, 0.88, 1.05])
def test_an_impossible_pair_is_refused_with_its_reason_and_moves_nothing(
    factor: float, whole: Plant, plant: Plant
) -> None:
    plant.log(entry(plant, READ_ON, factor=factor))
    plant.assess()
    assert "tachometer pair refused" in str(plant.row(SLIPPING, READ_ON)["note"])
    assert plant.daily(SLIPPING)[NUMBERS].equals(whole.daily(SLIPPING)[NUMBERS])


def test_swapped_numbers_are_refused(plant: Plant) -> None:
    motor, wheel = speeds(plant, READ_ON)
    plant.log(f"{SLIPPING},{READ_ON},14:30,inspected,{wheel:.0f},{motor:.0f}")
    plant.assess()
    assert "swapped numbers" in str(plant.row(SLIPPING, READ_ON)["note"])


def test_two_pairs_fix_the_change_whatever_the_sheaves_are(plant: Plant) -> None:
    # Pitch diameters 1.5 % off: both readings are low by as much, their difference is not.
    plant.log(entry(plant, HEALTHY_ON, factor=0.985), entry(plant, READ_ON, factor=0.985))
    plant.assess()
    told = plant.query(
        "select slip_pct, inferred_pct, change_sd_pct, is_taught from tachometer_pairs order by date"
    )
    assert len(told) == 2
    (run,) = [run for run in plant.runs if run.plan.name == SLIPPING]
    row = plant.row(SLIPPING, READ_ON)
    level = true_ref(plant, HEALTHY_ON)
    change = float(row["slip_ref_pct"]) - float(plant.row(SLIPPING, HEALTHY_ON)["slip_ref_pct"])  # type: ignore[arg-type]
    assert change == pytest.approx(true_ref(plant, READ_ON) - level, abs=0.45)


def test_a_pair_taken_back_takes_its_level_back(whole: Plant, plant: Plant) -> None:
    plant.log(entry(plant, READ_ON))
    plant.assess()
    (plant.folder / "service_log.csv").unlink()
    plant.assess()
    assert plant.everything() == whole.everything()


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
