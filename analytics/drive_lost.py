"""Has the drive been lost, is the fan stopped though commanded, is its speed not followed?

Decided on the latest readings of every hour, steady or not, so that a lost belt is said within the hour.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.model import INDEX, LoadKind, Operating, Parameter, expect
from analytics.motor import synchronous_rpm
from analytics.running import is_commanded, is_running
from analytics.scaled_hours import scaled_hours
from analytics.vocabulary import SpeedControl

# Torque at no load lies well below the lightest healthy load at the same speed; between them the line is
# drawn a third of the way up. Pressure and flow of a wheel that stands are a few per cent of healthy.
UNLOADED_SHARE = 0.35
COLLAPSED_SHARE = 0.15
# Amps say little below this speed, so pressure or flow must say it.
LEAST_SPEED_BY_LOAD = 0.40
_LEAST_LOAD_GAP = 0.05
_NOT_FOLLOWED_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class HourlyFindings:
    """What each hour's latest readings show; every field has shape (hours,).

    `is_lost` the motor turns without load and the air does not move; `is_stopped` commanded but not
    drawing, or its run proof gone; `is_unfollowed` the motor's own speed differs from the command;
    `is_turning` the motor draws and is commanded, so that what is not lost or stopped is sound.
    """

    is_lost: Bools
    is_stopped: Bools
    is_unfollowed: Bools
    is_turning: Bools


def hourly_findings(hours: pd.DataFrame, curves: HealthyCurves | None, machine: Machine) -> HourlyFindings:
    """Find lost drives, commanded stops and speeds not followed.

    Without healthy curves only commanded stops are told. The run proof is heeded only where it has ever
    been seen with the motor running, and never hides a lost drive.

    Parameters: `hours`, frame of `operating_points`; `curves`; `machine`. Returns: `HourlyFindings`.
    """
    late = {name: _column(hours, f"late_{name}") for name in _LATE}
    is_lost = np.zeros(len(hours), dtype=bool)
    if curves is not None:
        is_lost = _lost(hours, late, curves, machine)
    is_stopped = _stopped(hours, late, machine) & ~is_lost
    speed = late["speed_fraction"]
    turning = is_running(speed, late["current_a"], late["power_w"], late["run_status"], machine)
    return HourlyFindings(is_lost, is_stopped, _unfollowed(hours, machine), turning & ~np.isnan(speed))


_LATE = (
    "speed_fraction",
    "current_a",
    "power_w",
    "torque_fraction",
    "airflow_m3s",
    "pressure_pa",
    "run_status",
)


def _column(hours: pd.DataFrame, name: str) -> Floats:
    if name not in hours:
        return np.full(len(hours), np.nan)
    return hours[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _lost(hours: pd.DataFrame, late: dict[str, Floats], curves: HealthyCurves, machine: Machine) -> Bools:
    latest = hours.assign(**{name: late[name] for name in _LATE if name != "run_status"}, is_steady=True)
    latest["motor_speed_rpm"] = np.nan
    speed = late["speed_fraction"]
    if machine.speed_control is SpeedControl.CONSTANT:
        speed = np.ones_like(speed)
    scaled = scaled_hours(latest, machine, curves.channels)
    running = is_running(
        late["speed_fraction"], late["current_a"], late["power_w"], late["run_status"], machine
    )
    lightest, no_load = _load_bounds(speed, scaled.density, curves)
    with np.errstate(invalid="ignore"):
        gap = lightest.load - no_load
        is_unloaded = scaled.load < no_load + UNLOADED_SHARE * gap
        is_telling = ~np.isnan(scaled.load) & (gap > _LEAST_LOAD_GAP) & (speed >= LEAST_SPEED_BY_LOAD)
        pressure = curves.pressure_sign * scaled.pressure_pa / curves.pressure_scale_pa
        airflow = scaled.airflow_m3s / curves.airflow_scale_m3s
        is_still = airflow < COLLAPSED_SHARE * curves.least_x * speed
        is_flat = pressure < COLLAPSED_SHARE * lightest.pressure
    own_air = curves.channels.has_airflow and not machine.is_airflow_shared
    own_pressure = curves.channels.has_pressure and not machine.is_pressure_shared
    sees_air = own_air & ~np.isnan(airflow)
    sees_pressure = own_pressure & ~np.isnan(pressure)
    any_collapsed = (sees_air & is_still) | (sees_pressure & is_flat)
    all_collapsed = (~sees_air | is_still) & (~sees_pressure | is_flat) & (sees_air | sees_pressure)
    by_load = is_telling & is_unloaded & (any_collapsed | ~(sees_air | sees_pressure))
    by_air = ~is_telling & all_collapsed & (curves.channels.load_kind is not LoadKind.NONE)
    return np.asarray(running & (speed > 0.1) & (by_load | by_air), dtype=bool)


@dataclass(frozen=True, slots=True)
class _Lightest:
    load: Floats
    pressure: Floats


def _load_bounds(speed: Floats, density: Floats, curves: HealthyCurves) -> tuple[_Lightest, Floats]:
    safe = np.where(np.isnan(speed) | (speed < 0.05), 1.0, speed)
    density = np.where(np.isnan(density), 1.0, density)
    loads, pressures = [], []
    for x in (curves.least_x, 1.0, curves.greatest_x):
        ones = np.ones_like(safe)
        hours = Operating(
            safe[None],
            x * safe[None],
            density[None],
            ones[None],
            ones[None],
            np.ones((1, len(safe)), dtype=bool),
        )
        expected = expect(curves.mean[None], curves.plant, hours)
        loads.append(expected.load[0])
        pressures.append(expected.pressure[0])
    idle = curves.mean.copy()
    # A wheel that takes nothing: only friction and the magnetising current are left.
    idle[INDEX[Parameter.TORQUE_LEVEL]] = -8.0
    expected = expect(idle[None], curves.plant, hours)
    return _Lightest(np.min(loads, axis=0), np.min(pressures, axis=0)), expected.load[0]


def _stopped(hours: pd.DataFrame, late: dict[str, Floats], machine: Machine) -> Bools:
    commanded = is_commanded(late["speed_fraction"], machine)
    if machine.speed_control is SpeedControl.CONSTANT:
        commanded = np.zeros(len(hours), dtype=bool)
    drawing = is_running(
        np.full(len(hours), np.nan), late["current_a"], late["power_w"], np.ones(len(hours)), machine
    )
    knows_draw = ~np.isnan(late["current_a"]) | ~np.isnan(late["power_w"])
    proof = late["run_status"]
    ran = hours["running"].to_numpy(dtype=np.float64) == 1.0
    is_proof_real = bool((proof[ran] > 0.5).mean() > 0.5) if ran.any() else False
    with np.errstate(invalid="ignore"):
        proof_gone = is_proof_real & (proof < 0.5)
    return np.asarray(commanded & ((knows_draw & ~drawing) | proof_gone), dtype=bool)


def _unfollowed(hours: pd.DataFrame, machine: Machine) -> Bools:
    speed, motor = _column(hours, "speed_fraction"), _column(hours, "motor_speed_rpm")
    steady = hours["is_steady"].to_numpy(dtype=bool)
    if machine.motor_rpm is None or np.isnan(motor).all() or machine.speed_signal == "motor_rpm":
        return np.zeros(len(hours), dtype=bool)
    poles = 2.0 * np.floor(60.0 * machine.motor_hz / machine.motor_rpm + 0.02)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = motor / (speed * float(synchronous_rpm(machine.motor_hz, poles)))
        return np.asarray(steady & (np.abs(ratio - 0.985) > _NOT_FOLLOWED_SHARE), dtype=bool)
