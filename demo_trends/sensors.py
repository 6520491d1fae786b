"""What a building system makes of the truth: noise, gain, zero, the step it exports in, and gaps."""

from typing import NamedTuple

import numpy as np

from demo_trends.arrays import Array, Mask
from demo_trends.faults import total
from demo_trends.plan import FanPlan, Sensor
from demo_trends.units import UNITS
from demo_trends.weather import wander


class Errors(NamedTuple):
    """A sensor's relative errors step by step: the fast part, and gain with the slow part in it."""

    fast: Array
    gain: Array


def draw_errors(
    plan: FanPlan, role: str, days: Array, interval_hours: float, rng: np.random.Generator
) -> Errors:
    """The errors of one role's sensor, its planted gain fault included; none where there is no sensor."""
    sensor = plan.sensors.get(role)
    fast_course = wander(rng, len(days), interval_hours, 0.33)
    slow_course = wander(rng, len(days), interval_hours, 6.0)
    drift = 1.0 + total(plan.faults, f"{role}_gain", days) if role in _DRIFTING else np.ones_like(days)
    if sensor is None:
        return Errors(np.zeros_like(days), np.ones_like(days))
    return Errors(sensor.fast * fast_course, sensor.gain * drift * (1.0 + sensor.slow * slow_course))


_DRIFTING = ("airflow", "pressure", "current", "power", "torque")


def export_step(sensor: Sensor, values_si: Array) -> Array:
    """Values rounded to the step the building system exports, back in SI."""
    unit = UNITS[sensor.unit]
    rounded = np.round(unit.from_si(values_si) / sensor.step) * sensor.step
    return unit.to_si(rounded)


def read(sensor: Sensor, true_si: Array, errors: Errors, zero_si: Array, rng: np.random.Generator) -> Array:
    """The exported reading of a plain sensor [SI]."""
    floor = sensor.floor * rng.normal(size=true_si.shape)
    value = true_si * errors.gain * (1.0 + errors.fast) + zero_si + sensor.zero + floor
    return export_step(sensor, value)


def read_airflow(
    sensor: Sensor,
    true_m3s: Array,
    density_ratio: Array,
    *,
    errors: Errors,
    zero_squared: Array,
    rng: np.random.Generator,
) -> Array:
    """The exported airflow of a velocity-pressure or a thermal station [m3/s].

    A velocity-pressure station adds its zero in squares and cannot read below nothing; a thermal one reports
    flow at standard density and keeps a little reading in still air.
    """
    noise = sensor.floor * rng.normal(size=true_m3s.shape)
    if sensor.kind == "thermal":
        value = np.maximum(
            true_m3s * density_ratio * errors.gain * (1.0 + errors.fast) + sensor.zero + noise, 0.0
        )
        return export_step(sensor, value)
    velocity_pressure = (true_m3s * errors.gain * (1.0 + errors.fast)) ** 2
    squared = velocity_pressure + zero_squared + sensor.zero * abs(sensor.zero) + noise * np.abs(noise)
    return export_step(sensor, np.sqrt(np.maximum(squared, 0.0)))


def draw_gaps(plan: FanPlan, steps: int, interval_hours: float, rng: np.random.Generator) -> Mask:
    """Steps at which the export holds nothing for this fan: lost samples and outages of some hours."""
    is_missing = rng.random(steps) < plan.gap_share
    outages = rng.poisson(plan.outages_per_100_days * steps * interval_hours / 2400.0)
    for _ in range(outages):
        first = int(rng.integers(0, steps))
        length = max(1, int(rng.uniform(1.0, 14.0) / interval_hours))
        is_missing[first : first + length] = True
    return is_missing
