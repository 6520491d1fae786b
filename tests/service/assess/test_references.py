"""A day that is not judged carries slip and drag at the reference torque for as long as they hold."""

import dataclasses
import datetime as dt
from collections.abc import Callable

import pandas as pd
import pytest

from demo_trends.faults import Fault
from demo_trends.readings import COLUMNS
from demo_trends.simulator import Trends, simulate
from service.assess.references import CARRIED
from service.assess.rows import OTHER_DRIVE_NOTE
from tests.service.assess.conftest import (
    DAYS,
    FIRST,
    HEALTHY,
    LOST,
    SLIPPING,
    Plant,
    drawn,
    schedule,
)

DAY = dt.timedelta(days=1)
LAST = FIRST + (DAYS - 1) * DAY
# Once with a healthy period that is over by the end, once with one that is not.
EARLY_WHEEL, LATE_WHEEL = dt.date(2025, 3, 1), dt.date(2025, 3, 14)
WHEELS = (f"{LOST},{EARLY_WHEEL},05:00,wheel_replaced", f"{SLIPPING},{LATE_WHEEL},05:00,wheel_replaced")
NEW_DRIVE = dt.date(2025, 3, 6)


def references(row: "pd.Series[object]") -> list[object]:
    return [row[name] for name in CARRIED]


def with_new_row(text: str, fan: str, **cells: str) -> str:
    """The schedule with a later row of a fan, like its first but for some cells."""
    head, *rows = text.splitlines()
    names = [*head.split(","), *(name for name in cells if name not in head.split(","))]
    blank = "," * (len(names) - len(head.split(",")))
    own = next(row for row in rows if row.startswith(f"{fan},")).split(",")
    filled = {**dict(zip(head.split(","), own, strict=True)), **cells}
    later = ",".join(filled.get(name, "") for name in names)
    return "\n".join([",".join(names), *(row + blank for row in rows), later]) + "\n"


@pytest.fixture(scope="module")
def new_wheels(whole: Plant, tmp_path_factory: pytest.TempPathFactory) -> Plant:
    plant = whole.copied(tmp_path_factory.mktemp("wheels") / "site")
    plant.log(*WHEELS)
    plant.assess()
    return plant


def test_a_new_wheel_leaves_slip_and_drag_as_they_were_until_its_period_is_over(new_wheels: Plant) -> None:
    rows = new_wheels.daily(SLIPPING)
    before = rows[rows["date"] < LATE_WHEEL].iloc[-1]
    after = rows[rows["date"] >= LATE_WHEEL]
    assert before["slip_ref_pct"] > 3.0
    assert len(after) > 5
    for _, row in after.iterrows():
        assert row["cause"] == "not_judged"
        assert f"new wheel of {LATE_WHEEL}" in str(row["note"])
        assert references(row) == references(before)
        assert pd.isna(row["slip_pct"])


def test_the_day_of_the_work_carries_them_once_the_new_curves_are_there(new_wheels: Plant) -> None:
    row, before = (new_wheels.row(LOST, date) for date in (EARLY_WHEEL, EARLY_WHEEL - DAY))
    assert row["note"] == "before the healthy period"
    assert references(row) == references(before)
    assert before["slip_ref_pct"] is not None
    assert new_wheels.row(LOST, EARLY_WHEEL + DAY)["note"] == "healthy period"


def test_night_by_night_they_are_carried_as_all_at_once(
    new_wheels: Plant, new_plant: Callable[..., Plant]
) -> None:
    nightly = new_plant()
    nightly.log(*WHEELS)
    for date in (FIRST + n * DAY for n in range(DAYS)):
        nightly.drop(f"{date}.csv", date, date)
        if date >= EARLY_WHEEL - DAY:
            nightly.pull()
            nightly.assess()
    nightly.drop("rest.csv", LAST + DAY, LAST + DAY)
    nightly.pull()
    nightly.assess()
    assert nightly.everything()["daily"] == new_wheels.everything()["daily"]


def test_they_follow_what_is_learned_late_of_the_days_before(new_wheels: Plant, whole: Plant) -> None:
    late = f"{SLIPPING},{LATE_WHEEL - 3 * DAY},12:00,retensioned"
    fresh = whole.copied(new_wheels.folder.parent / "fresh")
    fresh.log(late, *WHEELS)
    fresh.assess()
    again = new_wheels.copied(new_wheels.folder.parent / "again")
    again.log(late, *WHEELS)
    again.assess()
    assert again.everything() == fresh.everything()
    told, was = (references(plant.row(SLIPPING, LAST - 2 * DAY)) for plant in (again, new_wheels))
    assert told != was


@pytest.mark.parametrize("drive", ["synchronous_belt", "v_belt"])
def test_of_another_drive_or_a_retrofit_nothing_is_carried_and_the_row_says_so(
    plant: Plant, drive: str
) -> None:
    # The same words of the drive, but all of it renewed: the log says that.
    plant.log(*([f"{SLIPPING},{NEW_DRIVE},,retrofit"] if drive == "v_belt" else []))
    cells = {
        "from": str(NEW_DRIVE),
        "drive": drive,
        "baseline_from": "2025-03-10",
        "baseline_to": "2025-04-10",
    }
    (plant.folder / "fans.csv").write_text(with_new_row(schedule(plant.runs), SLIPPING, **cells))
    plant.assess()
    rows = plant.daily(SLIPPING)
    after = rows[rows["date"] >= NEW_DRIVE]
    assert len(after) > 8
    assert after[CARRIED[0]].isna().all()
    assert after["note"].str.contains(OTHER_DRIVE_NOTE).all()
    assert not rows[rows["date"] < NEW_DRIVE]["note"].fillna("").str.contains(OTHER_DRIVE_NOTE).any()


def test_a_new_wheel_put_in_with_a_retrofit_carries_nothing_of_the_drive_before(plant: Plant) -> None:
    plant.log(*(f"{SLIPPING},{LATE_WHEEL},05:00,{work}" for work in ("retrofit", "wheel_replaced")))
    plant.assess()
    rows = plant.daily(SLIPPING)
    after = rows[rows["date"] >= LATE_WHEEL]
    assert rows[rows["date"] < LATE_WHEEL][CARRIED[0]].notna().any()
    assert len(after) > 5
    assert after[CARRIED[0]].isna().all()
    assert after["note"].str.contains(OTHER_DRIVE_NOTE).all()


def test_a_row_of_the_same_drive_with_a_period_of_its_own_carries_them(plant: Plant) -> None:
    cells = {"from": str(NEW_DRIVE), "baseline_from": "2025-03-10", "baseline_to": "2025-04-10"}
    before = plant.daily(SLIPPING)
    (plant.folder / "fans.csv").write_text(with_new_row(schedule(plant.runs), SLIPPING, **cells))
    plant.assess()
    held = before[before["date"] < NEW_DRIVE].iloc[-1]
    for _, row in plant.daily(SLIPPING).pipe(lambda rows: rows[rows["date"] >= NEW_DRIVE]).iterrows():
        assert row["cause"] == "not_judged"
        assert references(row) == references(held)
        assert OTHER_DRIVE_NOTE not in str(row["note"])


def lost_and_mended() -> Trends:
    """A fan whose drive is lost for two days and whole again, the pressure point silent the day after."""
    plan = dataclasses.replace(drawn()[2].plan, name="RF-9", faults=(Fault("lost", 45.43, 1.0, "step"),))
    whole = simulate(dataclasses.replace(plan, faults=()), FIRST.isoformat(), 52, 15, seed=7)
    lost = simulate(plan, FIRST.isoformat(), 52, 15, seed=7)
    mended = pd.Timestamp(FIRST + 47 * DAY, tz="UTC") + pd.Timedelta(hours=15)
    before, after = lost.readings.index < mended, whole.readings.index >= mended
    readings = pd.concat([lost.readings[before], whole.readings[after]])
    is_silent = (readings.index >= mended) & (readings.index < mended + pd.Timedelta(hours=37))
    readings.loc[is_silent, COLUMNS["pressure"]] = float("nan")
    return dataclasses.replace(lost, readings=readings)


def test_the_slip_of_a_lost_drive_is_not_carried_past_its_repair(new_plant: Callable[..., Plant]) -> None:
    run = lost_and_mended()
    once, nightly = new_plant((run,), baseline=HEALTHY), new_plant((run,), baseline=HEALTHY)
    once.drop("all.csv", FIRST, FIRST + 51 * DAY)
    once.pull()
    once.assess()
    nightly.drop("history.csv", FIRST, FIRST + 43 * DAY)
    for number in range(44, 52):
        nightly.pull()
        nightly.assess()
        nightly.drop(f"{number}.csv", FIRST + number * DAY, FIRST + number * DAY)
    nightly.pull()
    nightly.assess()
    rows = once.daily("RF-9").set_index("date")
    assert rows.loc[FIRST + 46 * DAY, "slip_ref_pct"] == 100.0
    after = rows.loc[FIRST + 48 * DAY]
    assert after["cause"] == "not_judged"
    assert references(after) == references(rows.loc[FIRST + 44 * DAY])
    assert nightly.everything()["daily"] == once.everything()["daily"]
