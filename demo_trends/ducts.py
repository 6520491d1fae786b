"""What the ducts and the loop ask of a fan, and what a pressure sensor sees of it."""

from typing import NamedTuple

import numpy as np

from demo_trends.arrays import Array
from demo_trends.building import Load
from demo_trends.faults import total
from demo_trends.plan import FanPlan
from demo_trends.weather import wander
from demo_trends.wheels import STANDARD_DENSITY


class Surroundings(NamedTuple):
    """The air and the calls on a fan, step by step; `density_ratio` is over standard density."""

    days: Array
    interval_hours: float
    density_ratio: Array
    outdoor_c: Array
    air_c: Array
    load: Load
    damper_open: Array


class Wanted(NamedTuple):
    """Resistances in Pa per (m3/s)^2 at the air's own density, and the flow the loop wants (NaN: no loop)."""

    resistance: Array
    near: Array
    path: Array
    airflow: Array


class LoopError(NamedTuple):
    """What the loop's own sensor reads: gain x true + zero; flow bends and its zero adds in squares."""

    flow_gain: Array
    flow_zero_squared: Array
    flow_bend: float
    pressure_gain: Array
    pressure_zero: Array


def outdoor_air_damper(outdoor_c: Array) -> Array:
    """Opening of an economiser's outdoor-air damper: minimum in frost and heat, wide open between."""
    warm = 1.0 / (1.0 + np.exp((outdoor_c - 19.0) / 0.8))
    cold = np.clip((outdoor_c + 4.0) / 14.0, 0.0, 1.0)
    return np.asarray(0.2 + 0.8 * warm * cold, dtype=np.float64)


def _side_resistances(plan: FanPlan, around: Surroundings, rng: np.random.Generator) -> tuple[Array, Array]:
    """Near side and path to the duct sensor, with swings and loading, at the air's own density."""
    unit = plan.wheel.design_pressure_pa / plan.wheel.design_airflow_m3s**2
    closed = plan.duct.economiser_swing * (1.0 - around.damper_open) ** 2
    loading = total(plan.faults, "path", around.days)
    swing = total(plan.faults, "damper", around.days)
    noise = np.abs(wander(rng, len(around.days), around.interval_hours, 2.0))
    unrest = plan.duct.near_wander * wander(rng, len(around.days), around.interval_hours, 60.0)
    near = plan.duct.near_share * (1.0 + closed + unrest) + loading + swing * noise
    path = np.full_like(near, plan.duct.path_share)
    return near * unit * around.density_ratio, path * unit * around.density_ratio


def wanted(plan: FanPlan, around: Surroundings, error: LoopError, rng: np.random.Generator) -> Wanted:
    """The resistance the fan works against at each step, and the flow its loop settles on."""
    steps = len(around.days)
    near, path = _side_resistances(plan, around, rng)
    unrest = np.exp(plan.duct.wander * wander(rng, steps, around.interval_hours, 12.0))
    hunting = 1.0 + plan.control.hunting * wander(rng, steps, around.interval_hours, 0.3)
    design_q, design_p = plan.wheel.design_airflow_m3s, plan.wheel.design_pressure_pa
    asked = plan.control.min_flow + (plan.control.max_flow - plan.control.min_flow) * around.load.demand
    airflow = asked * design_q * hunting
    standing = (design_p / design_q**2) * around.density_ratio
    added = near - plan.duct.near_share * standing
    if plan.control.kind == "pressure":
        set_pa = plan.control.set_share * design_p * (1.0 - plan.control.reset * (1.0 - around.load.demand))
        held = np.maximum((set_pa * hunting**2 - error.pressure_zero) / error.pressure_gain, 1.0)
        resistance = held / airflow**2 * unrest + near + path
    elif plan.control.kind == "flow":
        squared = np.maximum(airflow**2 - error.flow_zero_squared, (0.05 * design_q) ** 2)
        at_station = np.sqrt(squared) / error.flow_gain / design_q
        airflow = design_q * at_station ** (1.0 / (1.0 + error.flow_bend))
        held_pa = plan.duct.held_share * design_p
        resistance = held_pa / airflow**2 + (1.0 - plan.duct.held_share) * standing * unrest + added
    else:
        opened = np.exp(-plan.duct.demand_share * (around.load.demand - 0.5))
        resistance = standing * unrest * opened + added
        airflow = np.full_like(near, np.nan)
    return Wanted(resistance, near, path, airflow)


def pressure_seen(plan: FanPlan, fan_pa: Array, airflow: Array, near: Array, path: Array) -> Array:
    """What a perfect pressure sensor reads at the fan's pressure location, with its sign."""
    squared = airflow**2
    if plan.pressure_location == "across_fan":
        return fan_pa
    beside = fan_pa - near * squared
    if plan.pressure_location == "duct":
        beside = beside - path * squared
    is_short_side = plan.pressure_location == ("fan_outlet" if plan.is_pulling else "fan_inlet")
    if is_short_side:
        beside = -near * squared
    return np.asarray(-beside if plan.is_pulling else beside, dtype=np.float64)


def standard_ratio(density: Array) -> Array:
    """Density over standard density."""
    return np.asarray(density / STANDARD_DENSITY, dtype=np.float64)
