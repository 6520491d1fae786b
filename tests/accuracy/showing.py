"""How far can a planted fault be seen: what it moves over what the ledger calls material?"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analytics.curves import HealthyCurves
from analytics.day_hours import day_operating
from analytics.day_reading import read_day
from analytics.ledger import MATERIAL_EFFECT, MATERIAL_STATION
from analytics.model import INDEX, Parameter
from analytics.scaled_hours import ScaledHours
from analytics.watch import CARRIED, watch
from demo_trends.faults import Fault
from demo_trends.plan import FanPlan
from tests.accuracy.drawing import DrawnFan

_STATION = (Parameter.AIRFLOW_GAIN, Parameter.AIRFLOW_ZERO)


def _flow(plan: FanPlan, curves: HealthyCurves) -> float:
    return plan.wheel.design_airflow_m3s / curves.airflow_scale_m3s


def _pressure(plan: FanPlan, curves: HealthyCurves) -> float:
    return plan.wheel.design_pressure_pa / curves.pressure_scale_pa


# A planted size in the model's unit: causes of gains and speeds in logs, zeros and paths of the fan's scales.
_IN_MODEL: dict[str, tuple[Parameter, Callable[[float, FanPlan, HealthyCurves], float]]] = {
    "ratio": (Parameter.RATIO, lambda size, plan, curves: float(np.log1p(size))),
    "wheel": (Parameter.WHEEL, lambda size, plan, curves: size),
    "airflow_gain": (Parameter.AIRFLOW_GAIN, lambda size, plan, curves: float(np.log1p(size))),
    "airflow_zero": (
        Parameter.AIRFLOW_ZERO,
        lambda size, plan, curves: size * abs(size) * _flow(plan, curves) ** 2,
    ),
    "pressure_gain": (Parameter.PRESSURE_GAIN, lambda size, plan, curves: float(np.log1p(size))),
    "pressure_zero": (Parameter.PRESSURE_ZERO, lambda size, plan, curves: size * _pressure(plan, curves)),
    **{
        f"{load}_gain": (Parameter.LOAD_GAIN, lambda size, plan, curves: float(np.log1p(size)))
        for load in ("current", "power", "torque")
    },
    "speed_scale": (Parameter.SPEED_SCALE, lambda size, plan, curves: float(np.log1p(size))),
    "path": (
        Parameter.AIR_PATH,
        lambda size, plan, curves: size * _pressure(plan, curves) / _flow(plan, curves) ** 2,
    ),
}


@dataclass(frozen=True, slots=True)
class Shown:
    """What a fan's lone fault comes to on a day, over what the ledger calls material; NaN for other faults.

    `moved`, the greater of the day's mean change of pressure or load at the flow that is read, over
    MATERIAL_EFFECT; `station`, an airflow station's own error at the day's lowest flow, over
    MATERIAL_STATION.
    """

    moved: float
    station: float


def shown(fan: DrawnFan, curves: HealthyCurves, hours: ScaledHours, day: int) -> Shown:
    """Return what a fan's lone fault comes to on a day.

    Parameters: `fan`; `curves`; `hours` of the day; `day` from the first.
    """
    faults: tuple[Fault, ...] = fan.plan.faults
    if len(faults) != 1 or faults[0].kind not in _IN_MODEL:
        return Shown(float("nan"), float("nan"))
    parameter, in_model = _IN_MODEL[faults[0].kind]
    size = in_model(faults[0].size * float(faults[0].course(np.array([day + 0.5]))[0]), fan.plan, curves)
    at = curves.mean[None, [INDEX[name] for name in CARRIED]]
    reading = read_day(at, watch(curves, fan.machine), day_operating(hours, curves))
    moved = float(np.abs(reading.effect[0, :, CARRIED.index(parameter)]).max())
    station = float(reading.station[0, _STATION.index(parameter)]) if parameter in _STATION else 0.0
    return Shown(abs(size) * moved / MATERIAL_EFFECT, abs(size) * station / MATERIAL_STATION)
