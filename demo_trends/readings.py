"""From what the fan did to what its trend points say."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from demo_trends.arrays import Array
from demo_trends.ducts import Surroundings
from demo_trends.faults import total
from demo_trends.plan import FanPlan
from demo_trends.sensors import draw_errors, draw_gaps, read, read_airflow

if TYPE_CHECKING:
    from demo_trends.simulator import Operation

Streams = Callable[..., np.random.Generator]

COLUMNS = {
    "speed": "speed_fraction",
    "current": "current_a",
    "power": "power_w",
    "torque": "torque_fraction",
    "airflow": "airflow_m3s",
    "pressure": "pressure_pa",
    "air_temperature": "air_temperature_c",
    "run_status": "run_status",
    "motor_speed": "motor_speed_rpm",
    "wheel_speed": "wheel_speed_rpm",
    "outdoor_air_damper": "outdoor_air_damper_fraction",
}
"""Role of a point and its column in a frame of readings."""

LINE_POWER_FACTOR = 0.93
"""Of a drive's supply side, harmonics included."""


def observe(plan: FanPlan, around: Surroundings, did: "Operation", streams: Streams) -> pd.DataFrame:
    """The readings of every sensor in the plan, in SI, NaN where the export holds nothing."""
    columns: dict[str, Array] = {}
    steps, interval = len(around.days), around.interval_hours
    for role, sensor in plan.sensors.items():
        errors = draw_errors(plan, role, around.days, interval, streams(role))
        noise = streams(role, "noise")
        if role == "airflow":
            zero = total(plan.faults, "airflow_zero", around.days) * plan.wheel.design_airflow_m3s
            value = read_airflow(
                sensor,
                _at_station(plan, did.airflow),
                around.density_ratio,
                errors=errors,
                zero_squared=zero * np.abs(zero),
                rng=noise,
            )
        else:
            zero = np.zeros(steps)
            if role == "pressure":
                zero = total(plan.faults, "pressure_zero", around.days) * plan.wheel.design_pressure_pa
            scale = _full_scale(plan, role)
            value = read(sensor, _true_value(plan, around, did, role) / scale, errors, zero, noise) * scale
        if role in ("current", "power", "torque", "speed", "motor_speed", "wheel_speed"):
            value = np.where(did.is_called, np.maximum(value, 0.0), 0.0)
        columns[COLUMNS[role]] = value
    frame = pd.DataFrame(columns)
    frame[draw_gaps(plan, steps, interval, streams("gaps"))] = np.nan
    return frame


def _at_station(plan: FanPlan, airflow: Array) -> Array:
    """The flow that a station in a poor profile takes for the true one."""
    design = plan.wheel.design_airflow_m3s
    return np.asarray(design * (airflow / design) ** (1.0 + plan.sensors["airflow"].bend), dtype=np.float64)


def _full_scale(plan: FanPlan, role: str) -> float:
    """A speed in per cent is of the drive's highest frequency, not of the motor's."""
    return plan.control.max_fraction if role == "speed" and plan.sensors[role].unit == "percent" else 1.0


def _true_value(plan: FanPlan, around: Surroundings, did: "Operation", role: str) -> Array:
    """What a perfect sensor of this role would read [SI]."""
    if role == "speed":
        return did.turning.motor_rpm if plan.speed_signal == "motor_rpm" else did.said
    if role == "current":
        at_line = did.line_w / (np.sqrt(3.0) * plan.motor.volts * LINE_POWER_FACTOR)
        return np.asarray(at_line if plan.current_at == "line" else did.current_a, dtype=np.float64)
    if role == "power":
        shaft = did.turning.motor_nm * did.turning.motor_rpm * np.pi / 30
        return {"line": did.line_w, "drive_output": did.motor_input_w, "shaft": shaft}[plan.power_at]
    if role == "air_temperature":
        return np.where(did.is_called, around.air_c, 20.0 + 0.1 * (around.outdoor_c - 15.0))
    plain = {
        "torque": did.turning.motor_nm / plan.motor.rated_nm,
        "pressure": did.sensor_pa,
        "run_status": _run_proof(plan, did),
        "motor_speed": did.turning.motor_rpm,
        "wheel_speed": did.turning.wheel_rpm,
        "outdoor_air_damper": around.damper_open,
    }
    return plain[role]


def _run_proof(plan: FanPlan, did: "Operation") -> Array:
    """The usual proofs look at air or current and drop out with the belt; the drive's own does not."""
    is_proven = did.is_called if plan.run_proof == "drive" else did.is_called & ~did.is_lost
    return is_proven.astype(np.float64)
