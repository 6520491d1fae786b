"""What stays the same about a fan from day to day: the constants that its daily step needs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.curve_fit import LOAD, PRESSURE
from analytics.curves import HealthyCurves
from analytics.explanations import Beliefs, beliefs, stack_beliefs
from analytics.machine import Machine
from analytics.model import CAUSES, CURVE, LoadKind, Parameter, Plant
from analytics.priors import (
    CURVE_DEPARTS,
    DAY_SD_THAT_LASTS,
    DENSITY_MEMORY_DAYS,
    DENSITY_SD_KNOWN,
    DENSITY_SD_NO_BAROMETER,
    DENSITY_SD_NO_TEMPERATURE,
    PINNED_SD,
    SEASON_MEMORY_DAYS,
    SLIP_STEEPNESS,
    WHEEL_TORQUE,
)

CARRIED: tuple[Parameter, ...] = (
    *CAUSES,
    Parameter.SLIP_STEEPNESS,
    Parameter.WHEEL_TORQUE,
    Parameter.DENSITY,
    Parameter.PRESSURE_LEVEL,
    Parameter.PRESSURE_SLOPE,
    Parameter.TORQUE_LEVEL,
    Parameter.TORQUE_SLOPE,
    Parameter.NO_LOAD_CURRENT,
    Parameter.FLUX_EXPONENT,
    Parameter.PATH,
    Parameter.PRESSURE_BEND,
    Parameter.TORQUE_BEND,
    Parameter.CREEP,
    Parameter.LOAD_EXPONENT,
    Parameter.FRICTION,
)
WIDTH = len(CARRIED)
# A station's own noise spreads what is read at one flow as far as this.
_LEAST_HALF_RANGE = 0.03


@dataclass(frozen=True, slots=True)
class Watch:
    """The constants of a batch of fans; every field has the fans as its first axis.

    `plant` of the model; `beliefs` of the causes; `curve` (fans, SIZE) the healthy parameters;
    `density_sd`, `density_memory_days` and `airflow_noise` (fans,); covariances (fans, 2, 2); `has`
    (fans, 2) whether pressure and load count; `is_flow_free` (fans,) whether they stand in for an airflow;
    `lasting` (fans, WIDTH, WIDTH) covariance of what stays with a fan however long one looks; `normal` (fans,
    WIDTH) what work has changed of the carried parameters for good; `is_learned` (fans, causes) where such a
    change is being learned.
    """

    plant: Plant
    beliefs: Beliefs
    curve: Floats
    density_sd: Floats
    density_memory_days: Floats
    airflow_noise: Floats
    hour_covariance: Floats
    day_covariance: Floats
    has: Floats
    is_flow_free: Bools
    lasting: Floats
    normal: Floats
    is_learned: Bools

    def some(self, which: Sequence[int] | Bools) -> "Watch":
        """Return the constants of some fans of the batch, in the order named."""
        plant = Plant(*(getattr(self.plant, name)[which] for name in Plant.__slots__))
        believed = Beliefs(*(getattr(self.beliefs, name)[which] for name in Beliefs.__slots__))
        rest = [name for name in Watch.__slots__ if name not in ("plant", "beliefs")]
        return Watch(plant, believed, *(getattr(self, name)[which] for name in rest))


def density_sd_of(curves: HealthyCurves) -> float:
    """Return the standard deviation of the air density that the points leave unknown."""
    weather = DENSITY_SD_KNOWN if curves.channels.has_barometer else DENSITY_SD_NO_BAROMETER
    season = 0.0 if curves.channels.knows_density else DENSITY_SD_NO_TEMPERATURE
    return float(np.hypot(weather, season))


def density_memory_of(curves: HealthyCurves) -> float:
    """Return how many days the unknown air density remembers: the weather's days or the season's weeks."""
    return DENSITY_MEMORY_DAYS if curves.channels.knows_density else SEASON_MEMORY_DAYS


def first_covariance(curves: HealthyCurves, believed: Beliefs) -> Floats:
    """Return the covariance (WIDTH, WIDTH) of a fan's carried parameters as its curves were fitted."""
    variance = np.full(WIDTH, PINNED_SD**2)
    variance[: len(CAUSES)] = believed.ordinary[0]
    variance[CARRIED.index(Parameter.SLIP_STEEPNESS)] = SLIP_STEEPNESS[1] ** 2
    variance[CARRIED.index(Parameter.WHEEL_TORQUE)] = WHEEL_TORQUE[1] ** 2
    variance[CARRIED.index(Parameter.DENSITY)] = density_sd_of(curves) ** 2
    covariance = np.diag(variance)
    kept = [name for name in CARRIED if name in CURVE]
    place = np.ix_([CARRIED.index(name) for name in kept], [CARRIED.index(name) for name in kept])
    source = np.ix_([CURVE.index(name) for name in kept], [CURVE.index(name) for name in kept])
    covariance[place] = 0.5 * (curves.covariance + curves.covariance.T)[source]
    return covariance


def lasting_covariance(curves: HealthyCurves, believed: Beliefs) -> Floats:
    """Return the covariance (WIDTH, WIDTH) of what stays with a fan however long one looks.

    What sets days apart in the healthy period and lasts outside it moves the level, which the ordinary wander
    holds; it need not be the same at both ends of the fitted range, where the curve departs too: there it is
    as far off by the slope. The slip law's steepness and a fouled wheel's torque are of those faults, and
    move nothing without them.
    """
    covariance = first_covariance(curves, believed)
    for name in (Parameter.SLIP_STEEPNESS, Parameter.WHEEL_TORQUE):
        covariance[CARRIED.index(name), CARRIED.index(name)] = 0.0
    half = max(0.5 * (curves.greatest_x - curves.least_x), _LEAST_HALF_RANGE)
    for channel, slope in ((PRESSURE, Parameter.PRESSURE_SLOPE), (LOAD, Parameter.TORQUE_SLOPE)):
        place = CARRIED.index(slope)
        lasting = DAY_SD_THAT_LASTS * np.sqrt(curves.day_covariance[channel, channel])
        covariance[place, place] += (lasting**2 + CURVE_DEPARTS**2) / half**2
    return covariance


def watch(curves: HealthyCurves, machine: Machine) -> Watch:
    """Return the constants that a fan's daily step needs, as a batch of one."""
    has = [curves.channels.has_pressure, curves.channels.load_kind is not LoadKind.NONE]
    believed = beliefs(curves, machine)
    return Watch(
        curves.plant,
        believed,
        curves.mean[None],
        np.array([density_sd_of(curves)]),
        np.array([density_memory_of(curves)]),
        np.array([curves.airflow_noise]),
        curves.hour_covariance[None],
        curves.day_covariance[None],
        np.array([has], dtype=np.float64),
        np.array([curves.channels.is_flow_free]),
        lasting_covariance(curves, believed)[None],
        np.zeros((1, WIDTH)),
        np.zeros((1, len(CAUSES)), dtype=bool),
    )


def stack_watches(watches: list[Watch]) -> Watch:
    """Join single fans' constants into a batch."""
    plants = [w.plant for w in watches]
    plant = Plant(*(np.concatenate([getattr(p, name) for p in plants]) for name in Plant.__slots__))
    rest = [name for name in Watch.__slots__ if name not in ("plant", "beliefs")]
    arrays = (np.concatenate([getattr(w, name) for w in watches]) for name in rest)
    return Watch(plant, stack_beliefs([w.beliefs for w in watches]), *arrays)
