"""Points that are not what the schedule calls them, as they are found mapped on real sites."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from demo_trends.arrays import Array
from demo_trends.ducts import outdoor_air_damper
from demo_trends.simulator import Trends, stream
from demo_trends.weather import hours_between, wander

Course = Callable[[float], Array]


def _set_point(trends: Trends, _course: Course) -> Array:
    """The pressure set point instead of the pressure: the same value whether the fan runs or not."""
    return np.full(len(trends.readings), trends.plan.control.set_share * trends.plan.wheel.design_pressure_pa)


def _building_pressure(_trends: Trends, course: Course) -> Array:
    """The building's pressure instead of the fan's: a few pascals either way."""
    return np.round(8.0 + 5.0 * course(1.5))


def _sum_of_fans(trends: Trends, course: Course) -> Array:
    """The sum of this fan and two others that run by their own demand."""
    others = trends.plan.wheel.design_airflow_m3s * (1.1 + 0.5 * course(5.0))
    return np.asarray(trends.readings["airflow_m3s"] + np.maximum(others, 0.2), dtype=np.float64)


def _outdoor_air_station(trends: Trends, course: Course) -> Array:
    """The outdoor-air station instead of the supply station: a share that follows the damper."""
    share = outdoor_air_damper(trends.weather.outdoor_c) * (1.0 + 0.05 * course(2.0))
    return np.asarray(trends.readings["airflow_m3s"] * share, dtype=np.float64)


def _computed_airflow(trends: Trends, _course: Course) -> Array:
    """An airflow that a controller computes from the same speed and pressure by a line through design."""
    wheel = trends.plan.wheel
    speed = (
        trends.readings["speed_fraction"] * trends.plan.motor.rated_rpm * trends.plan.ratio / wheel.design_rpm
    )
    head = trends.readings["pressure_pa"].abs() / wheel.design_pressure_pa
    value = wheel.design_airflow_m3s * (1.6 * speed - 0.6 * head / np.maximum(speed, 0.1))
    return np.asarray(np.maximum(value, 0.0), dtype=np.float64)


def _stuck(trends: Trends, _course: Course) -> Array:
    """The airflow frozen, from the middle of the run on, at the next value the running fan had."""
    flow = trends.readings["airflow_m3s"].to_numpy(copy=True)
    is_late = np.arange(len(flow)) >= len(flow) // 2
    is_usable = trends.truth["is_running"].to_numpy() & ~np.isnan(flow)
    flow[is_late] = flow[is_late & is_usable][0]
    return flow


_MISTAKES: dict[str, tuple[str, Callable[[Trends, Course], Array]]] = {
    "set_point": ("pressure_pa", _set_point),
    "building_pressure": ("pressure_pa", _building_pressure),
    "sum_of_fans": ("airflow_m3s", _sum_of_fans),
    "outdoor_air_station": ("airflow_m3s", _outdoor_air_station),
    "computed_airflow": ("airflow_m3s", _computed_airflow),
    "stuck": ("airflow_m3s", _stuck),
}
MISTAKES = tuple(_MISTAKES)


def mistake(trends: Trends, kind: str, seed: int = 0) -> Trends:
    """The same run with one point mapped wrongly; gaps stay gaps and the truth stays true."""
    column, mapped = _MISTAKES[kind]
    rng = stream(seed, trends.plan.name, kind)
    step = hours_between(trends.weather.time)

    def course(memory_hours: float) -> Array:
        return wander(rng, len(trends.readings), step, memory_hours)

    wrong = pd.Series(mapped(trends, course), index=trends.readings.index)
    readings = trends.readings.assign(**{column: wrong.where(trends.readings[column].notna())})
    return replace(trends, readings=readings)
