"""Has the drive been lost, is the fan stopped though commanded, is its speed not followed?

Decided on the latest readings of every hour, steady or not, so that a lost belt is said within the hour.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.arrays import Bools, Floats, column
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.model import INDEX, LoadKind, Operating, Parameter, expect
from analytics.motor import synchronous_rpm
from analytics.operating_points import LATE
from analytics.running import is_commanded, is_running
from analytics.scaled_hours import scaled_hours
from analytics.vocabulary import SpeedControl

# Torque at no load lies well below the lightest healthy load at the same speed; between them the line is
# drawn a third of the way up. Pressure and flow of a wheel that stands are a few per cent of healthy.
UNLOADED_SHARE = 0.35
COLLAPSED_SHARE = 0.15
# Where the air stands still by every reading the fan has of its own, a load this light will do: the flux law
# leaves the no-load amps at reduced speed uncertain.
LIGHT_SHARE = 0.70
# Amps say little below this speed, so pressure or flow must say it.
LEAST_SPEED_BY_LOAD = 0.40
_LEAST_LOAD_GAP = 0.05
# What an hour's latest readings leave as it is.
_AS_THEY_ARE = (
    "air_temperature_c",
    "outdoor_temperature_c",
    "barometric_pressure_pa",
    "wheel_speed_rpm",
    "stopped_pressure_pa",
    "stopped_airflow_m3s",
)
_LEAST_SPEED = 0.10
_NOT_FOLLOWED_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class HourlyFindings:
    """What each hour's latest readings show; every field has shape (hours,).

    `is_lost` the motor turns without load and the air does not move; `is_whole` the motor turns and load
    or air shows that the wheel turns with it; `is_stopped` commanded but not drawing, its run proof gone,
    or, where nothing tells the load, no air; `is_turning` commanded and drawing; `is_unfollowed` the
    motor's own speed differs from the command. Where none holds, the hour says nothing.
    """

    is_lost: Bools
    is_whole: Bools
    is_stopped: Bools
    is_turning: Bools
    is_unfollowed: Bools


def hourly_findings(
    hours: pd.DataFrame, curves: HealthyCurves | None, machine: Machine, is_proof_seen: Bools
) -> HourlyFindings:
    """Find lost drives, commanded stops and speeds not followed.

    Without healthy curves only commanded stops are told. The run proof is heeded only where it has been
    seen with the motor running, and never hides a lost drive.

    Parameters: `hours`, frame of `operating_points`; `curves`; `machine`; `is_proof_seen` (hours,),
    whether the run proof was ever on while the motor ran, up to that hour. Returns: `HourlyFindings`.
    """
    late = {name: column(hours, f"late_{name}") for name in LATE}
    told = hours["late_is_told"].to_numpy(dtype=bool)
    speed = late["speed_fraction"]
    if machine.speed_control is SpeedControl.CONSTANT:
        speed = np.ones_like(speed)
    drawing = is_running(
        late["speed_fraction"], late["current_a"], late["power_w"], late["run_status"], machine
    )
    turning = told & drawing & ~np.isnan(speed)
    nothing = np.zeros(len(hours), dtype=bool)
    lost, whole, airless = nothing, turning, nothing
    if curves is not None:
        seen = _seen(hours, late, speed, curves, machine)
        is_still = seen.has_air & ~seen.is_air_moving
        by_load = seen.is_unloaded & (seen.is_air_stopping | ~seen.has_air)
        by_air = (~seen.is_load_telling | seen.is_light) & is_still
        if curves.channels.load_kind is LoadKind.NONE:
            airless, by_air = told & is_still & (speed > _LEAST_SPEED), nothing
        lost = turning & (speed > _LEAST_SPEED) & (by_load | by_air)
        is_loaded = seen.is_load_telling & ~seen.is_light
        # A drive is whole again when the air moves, not when its amps are hard to read at low speed.
        is_sound = np.where(seen.has_air, seen.is_air_moving & ~seen.is_unloaded, is_loaded)
        whole = turning & ~lost & is_sound
    stopped = ((_stopped(late, machine, is_proof_seen) & told) | airless) & ~lost
    return HourlyFindings(lost, whole, stopped, turning & ~stopped, _unfollowed(hours, machine))


@dataclass(frozen=True, slots=True)
class _Seen:
    is_load_telling: Bools
    is_unloaded: Bools
    is_light: Bools
    has_air: Bools
    is_air_stopping: Bools
    is_air_moving: Bools


def _seen(
    hours: pd.DataFrame, late: dict[str, Floats], speed: Floats, curves: HealthyCurves, machine: Machine
) -> _Seen:
    own = {name: column(hours, name) for name in _AS_THEY_ARE if name in hours}
    told = {name: late[name] for name in LATE if name != "run_status"}
    said = {"is_steady": np.ones(len(hours), dtype=bool), "motor_speed_rpm": np.full(len(hours), np.nan)}
    latest = pd.DataFrame({**own, **told, **said})
    scaled = scaled_hours(latest, machine, curves.channels)
    lightest, no_load = _load_bounds(speed, scaled.density, curves)
    with np.errstate(invalid="ignore"):
        gap = lightest.load - no_load
        is_telling = ~np.isnan(scaled.load) & (gap > _LEAST_LOAD_GAP) & (speed >= LEAST_SPEED_BY_LOAD)
        is_unloaded = is_telling & (scaled.load < no_load + UNLOADED_SHARE * gap)
        is_light = is_telling & (scaled.load < no_load + LIGHT_SHARE * gap)
        pressure = curves.pressure_sign * scaled.pressure_pa / curves.pressure_scale_pa
        airflow = scaled.airflow_m3s / curves.airflow_scale_m3s
        is_still = airflow < COLLAPSED_SHARE * curves.least_x * speed
        is_flat = pressure < COLLAPSED_SHARE * lightest.pressure
    # What several fans share goes on when one of them stops.
    sees_air = curves.channels.has_airflow and not machine.is_airflow_shared
    sees_pressure = curves.channels.has_pressure and not machine.is_pressure_shared
    by_air = sees_air & ~np.isnan(airflow)
    by_pressure = sees_pressure & ~np.isnan(pressure)
    has_air = by_air | by_pressure
    return _Seen(
        is_telling,
        is_unloaded,
        is_light,
        has_air,
        (by_air & is_still) | (by_pressure & is_flat),
        (by_air & ~is_still) | (by_pressure & ~is_flat),
    )


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


def _stopped(late: dict[str, Floats], machine: Machine, is_proof_seen: Bools) -> Bools:
    if machine.speed_control is SpeedControl.CONSTANT:
        return np.zeros(len(is_proof_seen), dtype=bool)
    drawing = is_running(
        np.full(len(is_proof_seen), np.nan),
        late["current_a"],
        late["power_w"],
        np.ones(len(is_proof_seen)),
        machine,
    )
    knows_draw = ~np.isnan(late["current_a"]) | ~np.isnan(late["power_w"])
    with np.errstate(invalid="ignore"):
        is_proof_gone = is_proof_seen & (late["run_status"] < 0.5)
    commanded = is_commanded(late["speed_fraction"], machine)
    return np.asarray(commanded & ((knows_draw & ~drawing) | is_proof_gone), dtype=bool)


def proof_seen(hours: pd.DataFrame, is_seen_before: bool) -> Bools:
    """Tell for each hour whether the run proof was ever on while the motor ran, up to then.

    A status that never comes on is not connected, and its absence says nothing.

    Parameters: `hours`, frame of `operating_points` in order of time; `is_seen_before` them.
    """
    with np.errstate(invalid="ignore"):
        is_on = column(hours, "late_run_status") > 0.5
    is_running_all = hours["running"].to_numpy(dtype=np.float64) == 1.0
    return np.asarray(np.logical_or.accumulate(is_on & is_running_all) | is_seen_before, dtype=bool)


def _unfollowed(hours: pd.DataFrame, machine: Machine) -> Bools:
    speed, motor = column(hours, "speed_fraction"), column(hours, "motor_speed_rpm")
    steady = hours["is_steady"].to_numpy(dtype=bool)
    if machine.motor_rpm is None or np.isnan(motor).all() or machine.speed_signal == "motor_rpm":
        return np.zeros(len(hours), dtype=bool)
    poles = 2.0 * np.floor(60.0 * machine.motor_hz / machine.motor_rpm + 0.02)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = motor / (speed * float(synchronous_rpm(machine.motor_hz, poles)))
        return np.asarray(steady & (np.abs(ratio - 0.985) > _NOT_FOLLOWED_SHARE), dtype=bool)
