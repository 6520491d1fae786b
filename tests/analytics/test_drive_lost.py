"""A lost drive: the motor turns without load and the air stands, said within the hour and not otherwise.

The fans are of the demo's own simulator, which shares nothing with `analytics`: its motor is an equivalent
circuit and its lost belt leaves the motor its windage.
"""

import dataclasses
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analytics.curves import HealthyCurves
from analytics.drive_lost import HourlyFindings, hourly_findings, proof_seen
from analytics.judging import healthy
from analytics.machine import Machine
from analytics.operating_points import operating_points
from analytics.vocabulary import SpeedControl
from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault
from demo_trends.simulator import simulate
from tests.accuracy.drawing import machine_of

HEALTHY_DAYS, LOST_DAY, DAYS = 25, 27.4, 30
AIR = ("airflow_m3s", "pressure_pa")


@dataclasses.dataclass(frozen=True)
class Simulated:
    machine: Machine
    curves: HealthyCurves
    hours: pd.DataFrame
    lost_at: pd.Timestamp


@cache
def simulated(
    load: str = "current", control: str = "flow", use: str = "laboratory", minutes: int = 15, seed: int = 3
) -> Simulated:
    roles = (*(("speed",) if control != "constant" else ()), load, "airflow", "pressure", "air_temperature")
    choices = Choices(
        fan_type="airfoil",
        drive="v_belt",
        duty="supply",
        control=control,
        use=use,
        quality="good",
        motor_w=11_000.0,
        motor_kind="induction",
        pressure_location="across_fan",
        roles=roles,
        faults=(Fault("lost", LOST_DAY, 1.0, "step"),),
    )
    drawn = draw_plan(np.random.default_rng(seed), "SF-1", choices)
    plan = dataclasses.replace(drawn, gap_share=0.0, outages_per_100_days=0.0)
    run = simulate(plan, "2025-02-03", DAYS, minutes, seed=seed)
    machine = machine_of(plan)
    readings = run.readings.rename_axis("time").reset_index()
    hours = operating_points(readings, machine)
    first = hours["time"].iloc[0]
    day = ((hours["time"] - first) // pd.Timedelta(days=1)).to_numpy(dtype=float)
    is_healthy = day < HEALTHY_DAYS
    curves = healthy(hours[is_healthy].reset_index(drop=True), day[is_healthy], machine)
    return Simulated(machine, curves, hours, first + pd.Timedelta(days=LOST_DAY))


def findings(
    fan: Simulated, hours: pd.DataFrame | None = None, machine: Machine | None = None
) -> HourlyFindings:
    told = fan.hours if hours is None else hours
    seen = proof_seen(told, is_seen_before=False)
    return hourly_findings(told, fan.curves, machine or fan.machine, seen)


def after(fan: Simulated) -> np.ndarray:
    """Tell which hours lie wholly after the belt was lost, with the motor turning."""
    is_after = fan.hours["time"] >= fan.lost_at
    return (is_after & (fan.hours["running"] == 1.0) & fan.hours["late_is_told"]).to_numpy(dtype=bool)


def scaled_speed(hours: pd.DataFrame, where: np.ndarray, speed: float) -> pd.DataFrame:
    told = hours.copy()
    for name in ("speed_fraction", "late_speed_fraction"):
        if name in told:
            told.loc[where, name] = speed
    return told


@pytest.mark.parametrize("load", ["current", "power", "torque"])
@pytest.mark.parametrize("minutes", [15, 60])
def test_a_lost_belt_is_found_in_every_hour_after_it(load: str, minutes: int) -> None:
    fan = simulated(load, minutes=minutes)
    found = findings(fan)
    lost = after(fan)
    before = (fan.hours["time"] + pd.Timedelta(hours=1) <= fan.lost_at).to_numpy(dtype=bool)
    assert lost.sum() > 40
    assert found.is_lost[lost].all()
    assert not found.is_lost[before].any()
    assert not found.is_stopped.any()
    # The curves carry the fan: it is whole before and never after.
    assert found.is_whole[before].mean() > 0.95
    assert not found.is_whole[lost].any()


def test_the_current_falls_to_no_load_and_not_to_nothing() -> None:
    fan = simulated()
    rated = fan.machine.motor_rated_current_a
    assert rated is not None
    current = fan.hours["late_current_a"].to_numpy()[after(fan)]
    assert current.min() > 0.15 * rated


def test_a_drive_that_trips_is_stopped_and_not_lost() -> None:
    fan = simulated()
    tripped = after(fan)
    hours = fan.hours.copy()
    hours.loc[tripped, ["current_a", "late_current_a"]] = 0.0
    found = findings(fan, hours)
    assert found.is_stopped[tripped].all()
    assert not found.is_lost[tripped].any()
    assert not found.is_turning[tripped].any()


def test_shared_sensors_go_on_and_the_load_alone_tells() -> None:
    fan = simulated()
    lost = after(fan)
    hours = fan.hours.copy()
    held = hours.loc[~lost & (hours["running"] == 1.0), [f"late_{name}" for name in AIR]].mean()
    for name in AIR:
        hours.loc[lost, f"late_{name}"] = held[f"late_{name}"]
    own = findings(fan, hours)
    assert not own.is_lost[lost].any()
    shared = dataclasses.replace(fan.machine, is_airflow_shared=True, is_pressure_shared=True)
    assert findings(fan, hours, shared).is_lost[lost].all()


def test_one_own_sensor_that_collapses_is_enough_where_parallel_fans_hold_the_pressure() -> None:
    fan = simulated()
    lost = after(fan)
    hours = fan.hours.copy()
    hours.loc[lost, "late_pressure_pa"] = hours.loc[
        ~lost & (hours["running"] == 1.0), "late_pressure_pa"
    ].mean()
    assert findings(fan, hours).is_lost[lost].all()


def test_below_two_fifths_of_speed_the_air_must_say_it() -> None:
    fan = simulated()
    lost = after(fan)
    slow = scaled_speed(fan.hours, lost, 0.3)
    assert findings(fan, slow).is_lost[lost].all()
    without_air = slow.copy()
    without_air.loc[lost, [f"late_{name}" for name in AIR]] = np.nan
    found = findings(fan, without_air)
    assert not found.is_lost[lost].any()
    # Nothing was seen, so nothing is taken back either.
    assert not found.is_whole[lost].any()


def test_a_light_load_at_low_speed_is_no_lost_belt() -> None:
    fan = simulated("current", "pressure", "office")
    before = (fan.hours["time"] + pd.Timedelta(hours=1) <= fan.lost_at).to_numpy(dtype=bool)
    assert not findings(fan).is_lost[before].any()
    assert findings(fan).is_lost[after(fan)].all()


def test_a_starter_without_a_command_loses_its_belt_too() -> None:
    fan = simulated("current", "constant", "always")
    assert fan.machine.speed_control is SpeedControl.CONSTANT
    found = findings(fan)
    lost = after(fan)
    assert lost.sum() > 40
    assert found.is_lost[lost].all()
    assert not found.is_stopped.any()
    before = (fan.hours["time"] + pd.Timedelta(hours=1) <= fan.lost_at).to_numpy(dtype=bool)
    # A starter's fan is found whole again, or the alert would never close.
    assert found.is_whole[before].mean() > 0.95


def test_the_evening_stop_is_neither_lost_nor_stopped() -> None:
    fan = simulated("current", "pressure", "office")
    found = findings(fan)
    assert (fan.hours["running"] < 1.0).sum() > 100
    assert not found.is_stopped.any()


@pytest.mark.parametrize("is_known", [False, True])
def test_a_run_proof_says_nothing_unless_it_was_ever_seen(is_known: bool) -> None:
    fan = simulated()
    hours = fan.hours.copy()
    hours["late_run_status"] = 0.0
    late = hours["time"] >= fan.lost_at - pd.Timedelta(hours=20)
    if is_known:
        hours.loc[hours.index < 100, "late_run_status"] = 1.0
    else:
        late = hours.index >= 0
    found = findings(fan, hours)
    gone = np.asarray(late & (hours["time"] < fan.lost_at) & hours["late_is_told"])
    assert found.is_stopped[gone].all() == is_known
    assert found.is_stopped[gone].any() == is_known
    # Current or dp switch drop out with the belt: the lost belt is said, not the proof.
    lost = after(fan)
    assert found.is_lost[lost].all()
    assert not found.is_stopped[lost].any()


def test_what_was_seen_before_is_remembered_and_nothing_later_is_used() -> None:
    status = [0.0, 0.0, 1.0, 0.0, np.nan, 0.0]
    running = [1.0, 0.5, 1.0, 1.0, 1.0, 1.0]
    hours = pd.DataFrame({"late_run_status": status, "running": running})
    assert list(proof_seen(hours, is_seen_before=False)) == [False, False, True, True, True, True]
    assert list(proof_seen(hours.iloc[:2], is_seen_before=False)) == [False, False]
    assert list(proof_seen(hours.iloc[:2], is_seen_before=True)) == [True, True]
    # On while the motor stands is a contact stuck or wired the other way round.
    stuck = pd.DataFrame({"late_run_status": [1.0, 1.0], "running": [0.0, 0.5]})
    assert not proof_seen(stuck, is_seen_before=False).any()


def test_without_curves_only_stops_are_told() -> None:
    fan = simulated()
    lost = after(fan)
    hours = fan.hours.copy()
    hours.loc[lost, ["current_a", "late_current_a"]] = 0.0
    found = hourly_findings(hours, None, fan.machine, proof_seen(hours, is_seen_before=False))
    assert not found.is_lost.any()
    assert found.is_stopped[lost].all()


def test_without_a_load_reading_still_air_is_a_stop() -> None:
    fan = simulated("speed")
    found = findings(fan)
    lost = after(fan)
    assert not found.is_lost.any()
    assert found.is_stopped[lost].all()
    before = (fan.hours["time"] + pd.Timedelta(hours=1) <= fan.lost_at).to_numpy(dtype=bool)
    assert not found.is_stopped[before].any()


def test_a_motor_that_does_not_follow_its_command() -> None:
    fan = simulated()
    hours = fan.hours.copy()
    synchronous = 120.0 * fan.machine.motor_hz / 4
    hours["motor_speed_rpm"] = 0.985 * synchronous * hours["speed_fraction"]
    assert not findings(fan, hours).is_unfollowed.any()
    clamped = np.asarray(hours["is_steady"] & (hours.index >= 500))
    hours.loc[clamped, "motor_speed_rpm"] *= 0.9
    assert np.array_equal(findings(fan, hours).is_unfollowed, clamped)
