"""What work changes for good: learned over judged days, then the fan's normal and no fault of anything."""

import dataclasses
import datetime as dt
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from config import load_site
from demo_trends.faults import Fault
from demo_trends.simulator import Trends, simulate
from demo_trends.truth import daily
from service.store import open_store
from service.store.fan_picture import fan_picture
from service.store.power import daily_power
from tests.service.assess.conftest import FIRST, ZONE, Plant, drawn, schedule

SHEAVES, MOTOR, WHEEL, SCHEDULE = "SF-1", "SF-2", "SF-3", "SF-4"
DAYS = 72
CHANGED_ON = FIRST + dt.timedelta(days=45)
LAST = FIRST + dt.timedelta(days=DAYS - 1)
FAULTS = {
    SHEAVES: Fault("ratio", 45.5, 0.08, "step"),
    MOTOR: Fault("current_gain", 45.5, 0.20, "step"),
    WHEEL: Fault("wheel", 45.5, 0.15, "step"),
    SCHEDULE: Fault("ratio", 45.0, 0.08, "step"),
}
LOG = (
    f"{SHEAVES},{CHANGED_ON},12:00,sheave_changed,,",
    f"{MOTOR},{CHANGED_ON},12:00,motor_replaced,,",
    f"{WHEEL},{CHANGED_ON},12:00,wheel_replaced,,",
)


@cache
def worked_on() -> tuple[Trends, ...]:
    plan = drawn()[0].plan
    plans = [dataclasses.replace(plan, name=name, faults=(fault,)) for name, fault in FAULTS.items()]
    return tuple(simulate(p, FIRST.isoformat(), DAYS, 30, seed=seed) for seed, p in enumerate(plans))


def fans() -> str:
    """The schedule, with a row of greater motor sheaves for the fan whose work nobody logged."""
    head, *rows = schedule(worked_on()).splitlines()
    names = head.split(",")
    cells = dict(zip(names, next(row for row in rows if SCHEDULE in row).split(","), strict=True))
    cells["motor_sheave_mm"] = f"{1.08 * float(cells['motor_sheave_mm']):.2f}"
    lines = [f"{head},from", *(f"{row}," for row in rows), ",".join([*cells.values(), str(CHANGED_ON)])]
    return "\n".join(lines) + "\n"


def declared(folder: Path, cuts: Sequence[dt.date]) -> Plant:
    plant = Plant(folder / "site", worked_on())
    plant.declare(fans=fans())
    plant.log(*LOG)
    first = FIRST
    for number, last in enumerate(cuts):
        plant.drop(f"{number}.csv", first, last)
        plant.pull()
        plant.assess()
        first = last + dt.timedelta(days=1)
    return plant


@pytest.fixture(scope="module")
def at_once(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    return declared(tmp_path_factory.mktemp("at once"), [LAST])


def judged_since(plant: Plant, fan: str) -> pd.DataFrame:
    rows = plant.daily(fan)
    return rows[(rows["date"] >= CHANGED_ON) & (rows["cause"] != "not_judged")].reset_index(drop=True)


def slip_error(plant: Plant, rows: pd.DataFrame, fan: str) -> float:
    (run,) = [run for run in plant.runs if run.plan.name == fan]
    true = daily(run.truth, ZONE)["slip_ref_pct"].astype(float)
    return float(np.abs(rows["slip_ref_pct"].to_numpy(float) - true.loc[rows["date"]].to_numpy()).max())


def test_new_sheaves_are_the_normal_after_fourteen_judged_days(at_once: Plant) -> None:
    rows = judged_since(at_once, SHEAVES)
    assert set(rows["cause"][:14]) == {"ratio_change"}
    assert set(rows["cause"][14:]) == {"none"}
    assert "14 judged days to go" in rows["note"][0]
    assert "judged days to go" not in "".join(rows["note"][14:])
    assert slip_error(at_once, rows, SHEAVES) < 0.7
    assert at_once.alerts(SHEAVES).empty


def test_a_new_motors_load_is_the_normal_after_ten_judged_days(at_once: Plant) -> None:
    rows = judged_since(at_once, MOTOR)
    # Amps alone: a load that rose looks like drag until it is normal.
    assert set(rows["cause"][:10]) <= {"unclear", "current_sensor"}
    assert set(rows["cause"][10:]) == {"none"}
    assert "slip rests on the air: 10 judged days to go" in rows["note"][0]
    assert slip_error(at_once, rows, MOTOR) < 0.7
    assert float(rows["drag_ref_pct"].abs().max()) < 1.5
    assert at_once.alerts(MOTOR).empty


def test_power_after_a_new_motor_is_what_the_shaft_carries_and_not_what_its_amps_would_have_meant(
    at_once: Plant,
) -> None:
    site = load_site(at_once.folder)
    first, last = CHANGED_ON + dt.timedelta(days=1), LAST
    with open_store(site) as store:
        found = daily_power(site, store, MOTOR, CHANGED_ON - dt.timedelta(days=20), last)
    (run,) = [run for run in at_once.runs if run.plan.name == MOTOR]
    true = run.truth[run.truth["is_running"]]["motor_shaft_w"].tz_convert(ZONE) / 1000.0
    by_day = true.groupby(true.index.date).mean()
    shares = {row["date"]: row["motor_kw"] / by_day[row["date"]] for row in found if row["motor_kw"]}
    before = np.mean([share for date, share in shares.items() if date < CHANGED_ON])
    after = np.mean([share for date, share in shares.items() if first <= date])
    # A fifth more amps for the same torque would read as about 28 % more power.
    assert after == pytest.approx(before, rel=0.04)
    # Nor does the fan's own picture show its hours above the curve.
    with open_store(site) as store:
        picture = fan_picture(site, store, MOTOR, last)
    assert picture is not None
    assert picture.torque is not None
    curve = picture.torque
    expected = np.interp(curve.hour_airflow_m3s, curve.airflow_m3s, curve.healthy)
    assert float(np.nanmedian(curve.hours / expected)) == pytest.approx(1.0, abs=0.06)


def test_a_new_wheel_has_a_healthy_period_of_its_own(at_once: Plant) -> None:
    rows = at_once.daily(WHEEL)
    of_visit = rows[rows["date"] == CHANGED_ON].iloc[0]
    assert (of_visit["cause"], of_visit["note"]) == ("not_judged", "before the healthy period")
    since = rows[rows["date"] > CHANGED_ON].reset_index(drop=True)
    assert set(since["note"][:10]) == {"healthy period"}
    assert set(since["cause"]) == {"none"}
    assert slip_error(at_once, since, WHEEL) < 0.7
    assert at_once.alerts(WHEEL).empty


def test_days_before_a_new_wheels_curves_say_what_they_wait_for(tmp_path: Path) -> None:
    plant = declared(tmp_path, [CHANGED_ON + dt.timedelta(days=5)])
    rows = plant.daily(WHEEL)
    waiting = rows[rows["date"] >= CHANGED_ON]
    assert set(waiting["cause"]) == {"not_judged"}
    assert all(
        f"new wheel of {CHANGED_ON}, its healthy period is not over" in note for note in waiting["note"]
    )
    assert plant.alerts(WHEEL).empty


def test_a_row_of_fans_csv_with_other_sheaves_is_judged_by_them(at_once: Plant) -> None:
    rows = judged_since(at_once, SCHEDULE)
    # The declared ratio leaves the sheaves' tolerance to be learned, which is no fault for long.
    first = rows[:7]
    assert set(first["cause"]) <= {"none", "ratio_change", "unclear"}
    for note in first["note"][first["cause"] == "unclear"]:
        assert "ratio_change or none;" in note or "none or ratio_change;" in note
    assert set(rows["cause"][7:]) == {"none"}
    assert "new sheaves" in rows["note"][0]
    assert slip_error(at_once, rows, SCHEDULE) < 0.7
    assert at_once.alerts(SCHEDULE).empty


@pytest.mark.long
def test_what_is_learned_meanwhile_gives_the_same_bits_in_pieces(at_once: Plant, tmp_path: Path) -> None:
    cuts = [CHANGED_ON - dt.timedelta(days=1), *(CHANGED_ON + dt.timedelta(days=n) for n in (3, 9, 16)), LAST]
    pieces = declared(tmp_path, cuts)
    assert pieces.everything()["daily"] == at_once.everything()["daily"]
