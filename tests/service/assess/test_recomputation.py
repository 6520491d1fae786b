"""Promise 3: a fan is written again from the first day whose digest changed, and only there."""

import datetime as dt
from collections.abc import Callable

import pandas as pd
import pytest

from service.assess import lanes, periods
from service.assess.lanes import CHECKPOINT_DAYS
from tests.service.assess.conftest import (
    DAYS,
    FIRST,
    LOST,
    SLIPPING,
    SYNCHRONOUS,
    Plant,
    export,
    schedule,
)

FANS = {SLIPPING, SYNCHRONOUS, LOST}


def rows_written(plant: Plant) -> dict[str, dt.date]:
    """Return the earliest row written of each fan."""
    found: dict[str, dt.date] = {}
    for name, fan, date in sorted(plant.written()):
        if name == "daily":
            found.setdefault(str(fan), dt.date.fromisoformat(str(date)))
    return found


def first_change(before: pd.DataFrame, after: pd.DataFrame, fan: str) -> dt.date | None:
    """Return the first date on which a fan's row says something else."""
    old, new = (frame[frame["fan"] == fan].set_index("date") for frame in (before, after))
    dates = sorted(set(old.index) | set(new.index))
    for date in dates:
        if date not in old.index or date not in new.index or not old.loc[date].equals(new.loc[date]):
            return date
    return None


def test_a_second_assess_writes_nothing(plant: Plant) -> None:
    plant.watch_writes()
    assert plant.assess() == ()
    plant.pull()
    assert plant.assess() == ()
    assert plant.written() == set()


def test_a_limit_moves_its_own_fan_and_no_number(plant: Plant) -> None:
    before = plant.daily()
    plant.watch_writes()
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, SF_1={"slip_act_pct": "9"}))
    assert plant.assess() == (SLIPPING,)
    assert set(rows_written(plant)) == {SLIPPING}
    assert plant.daily().equals(before)
    assert list(plant.alerts(SLIPPING)["level"]) == ["watch"]


def test_a_backdated_service_entry_moves_its_own_fan_from_its_day(plant: Plant) -> None:
    before = plant.daily()
    plant.watch_writes()
    date = dt.date(2025, 3, 10)
    plant.log(f"{SLIPPING},{date},,retensioned")
    assert plant.assess() == (SLIPPING,)
    written = rows_written(plant)
    assert set(written) == {SLIPPING}
    # A restart begins at the end of the fortnight before, and finds the same rows there.
    assert date - dt.timedelta(days=2 * CHECKPOINT_DAYS) <= written[SLIPPING] <= date
    assert first_change(before, plant.daily(), SLIPPING) == date
    (plant.folder / "service_log.csv").unlink()
    plant.assess()
    assert plant.daily().equals(before)


def test_a_service_on_a_day_the_fan_stood_counts(plant: Plant) -> None:
    # The office fan rests on Sundays, when much of the work is done.
    sunday = dt.date(2025, 3, 9)
    before = plant.daily(SLIPPING)
    assert sunday not in set(before["date"])
    plant.log(f"{SLIPPING},{sunday},,retensioned")
    assert plant.assess() == (SLIPPING,)
    monday = sunday + dt.timedelta(days=1)
    assert first_change(before, plant.daily(SLIPPING), SLIPPING) == monday
    # Nothing was done on Monday: its hours count.
    assert plant.row(SLIPPING, monday)["cause"] != "not_judged"


def test_a_late_file_moves_its_fan_from_its_day(new_plant: Callable[..., Plant], whole: Plant) -> None:
    late = dt.date(2025, 2, 27)
    plant = new_plant()
    own = next(run for run in plant.runs if run.plan.name == SYNCHRONOUS)
    others = [run for run in plant.runs if run is not own]
    last = FIRST + dt.timedelta(days=DAYS)
    plant.drop("others.csv", FIRST, last, others)
    plant.drop("before.csv", FIRST, late - dt.timedelta(days=1), [own])
    plant.drop("after.csv", late + dt.timedelta(days=1), last, [own])
    plant.pull()
    plant.assess()
    before = plant.daily()
    assert late not in set(before.loc[before["fan"] == SYNCHRONOUS, "date"])
    plant.watch_writes()
    plant.drop("late.csv", late, late, [own])
    plant.pull()
    assert plant.assess() == (SYNCHRONOUS,)
    assert first_change(before, plant.daily(), SYNCHRONOUS) == late
    written = {(name, fan) for name, fan, _ in plant.written()}
    assert {fan for name, fan in written if name in ("daily", "fan_days")} == {SYNCHRONOUS}
    # Only the touched day and the one after it are read again.
    days = {str(date) for name, _, date in plant.written() if name == "fan_days"}
    assert days == {str(late), str(late + dt.timedelta(days=1))}
    assert plant.everything() == whole.everything()


def test_an_edited_motor_moves_its_own_fan_from_its_start(plant: Plant) -> None:
    plant.watch_writes()
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, EF_2={"motor_fla": "13.2"}))
    assert plant.assess() == (SYNCHRONOUS,)
    assert rows_written(plant) == {SYNCHRONOUS: FIRST}
    (plant.folder / "fans.csv").write_text(schedule(plant.runs))
    assert plant.assess() == (SYNCHRONOUS,)


def test_what_running_is_follows_the_schedule(plant: Plant, whole: Plant) -> None:
    # So many motors that the fan's amps are no more than a transducer's zero never ran.
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, EF_2={"motor_count": "40"}))
    plant.assess()
    assert plant.daily(SYNCHRONOUS).empty
    (plant.folder / "fans.csv").write_text(schedule(plant.runs))
    plant.assess()
    assert plant.everything() == whole.everything()


def test_a_fan_taken_out_of_the_schedule_and_put_back(plant: Plant, whole: Plant) -> None:
    (plant.folder / "fans.csv").write_text(schedule(plant.runs[:2]))
    plant.assess()
    assert set(plant.daily()["fan"]) == {SLIPPING, SYNCHRONOUS}
    assert set(plant.alerts()["fan"]) <= {SLIPPING, SYNCHRONOUS}
    (plant.folder / "fans.csv").write_text(schedule(plant.runs))
    plant.assess()
    assert plant.everything() == whole.everything()


def test_an_upgrade_writes_everything_again(
    plant: Plant, whole: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (lanes, periods):
        monkeypatch.setattr(module, "RESULTS_VERSION", "of a test")
    plant.watch_writes()
    assert set(plant.assess()) == FANS
    assert rows_written(plant) == dict.fromkeys(FANS, FIRST)
    assert plant.daily().equals(whole.daily())


def test_a_corrected_reading_of_the_healthy_period_moves_the_whole_fan(plant: Plant) -> None:
    own = [run for run in plant.runs if run.plan.name == SLIPPING]
    date = dt.date(2025, 2, 3)
    text = export(own, plant.midnight(date), plant.midnight(date + dt.timedelta(days=1)))
    lines = text.splitlines()
    column = lines[0].split(",").index(f"{SLIPPING} pressure")
    corrected = [lines[0]]
    for line in lines[1:]:
        cells = line.split(",")
        cells[column] = repr(1.02 * float(cells[column]))
        corrected.append(",".join(cells))
    # A newer record ranks the file above the first export.
    newest = export(own, plant.midnight(dt.date(2025, 3, 22)), plant.midnight(dt.date(2025, 3, 23)))
    (plant.folder / "drop" / "corrected.csv").write_text("\n".join([*corrected, *newest.splitlines()[1:]]))
    plant.watch_writes()
    plant.pull()
    assert plant.assess() == (SLIPPING,)
    assert rows_written(plant) == {SLIPPING: FIRST}
