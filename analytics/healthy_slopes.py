"""By how much does each number of a fan's curves move what is read, while no cause is at work?

The slopes of `analytics.slopes` where slip, drag and all other causes are nothing: a search for the curves
asks for them hundreds of times, and most of what a cause may do drops out.
"""

from collections.abc import Callable, Mapping

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.model import (
    INDEX,
    LEAST_FLUX,
    LEAST_LOAD_RATIO,
    LEAST_MOTOR_SPEED,
    LEAST_SHAPE,
    LEAST_TORQUE,
    MOST_LOAD_RATIO,
    Expected,
    LoadKind,
    Operating,
    Parameter,
    Plant,
    Turned,
    read,
    turned,
)

_Move = tuple[Floats | None, Floats | None]


def healthy_slopes(
    theta: Floats,
    plant: Plant,
    hours: Operating,
    which: tuple[Parameter, ...],
    torque: Floats | None = None,
) -> tuple[Expected, Floats, Floats]:
    """Evaluate the model and the slopes of pressure and of load by numbers of the healthy curves.

    Parameters: `theta` (sets, SIZE), every cause 0; `plant` of one fan; `hours` of that fan, whose airflow
    may have axes before those of `theta`; `which` of `CURVE`; `torque` (..., sets, hours) near which the
    model begins its search. Returns: the expectation (..., sets, hours); both slopes (parameters, ..., sets,
    hours).
    Equation, validity and source: as for `analytics.slopes.slopes_at`, which it equals there.
    """
    at = turned(theta, plant, hours, torque)
    expected = read(theta, at, plant)
    here = _Healthy({name: theta[:, INDEX[name], None] for name in Parameter}, plant, hours, at, expected)
    moves = here.moves()
    shape = (len(which), *at.torque.shape)
    pressure, load = np.zeros(shape), np.zeros(shape)
    for place, name in enumerate(which):
        of_pressure, of_load = moves[name]()
        if of_pressure is not None:
            pressure[place] = of_pressure
        if of_load is not None:
            load[place] = of_load
    return expected, pressure, load


class _Healthy:
    """The model's own slopes at a point."""

    def __init__(
        self, p: Mapping[Parameter, Floats], plant: Plant, hours: Operating, at: Turned, expected: Expected
    ) -> None:
        self._p, self._plant, self._hours, self._at, self._expected = p, plant, hours, at, expected
        reference = plant.reference_torque[:, None]
        self._follows = at.motor_speed > LEAST_MOTOR_SPEED
        self._lag = plant.rated_slip[:, None] / np.square(at.flux) * self._follows
        is_inside = (at.load_ratio > LEAST_LOAD_RATIO) & (at.load_ratio < MOST_LOAD_RATIO)
        self._ratio_by_torque = is_inside / reference
        self._kept, wheel = at.kept, at.wheel_speed
        by_torque = -self._lag * self._kept - at.motor_speed * p[Parameter.CREEP] * self._ratio_by_torque
        level = np.exp(p[Parameter.TORQUE_LEVEL])
        shape, is_free = at.shape, at.shape > LEAST_SHAPE
        steep = at.steep * is_free
        moved = level * at.dynamic
        self._torque_by_level, self._torque_by_slope = moved * shape, moved * is_free * at.away
        self._torque_by_wheel = level * at.density * (2.0 * wheel * shape - at.airflow * steep)
        level = np.exp(p[Parameter.PRESSURE_LEVEL])
        shape, steep, is_free = _shape(at.away, p[Parameter.PRESSURE_SLOPE], p[Parameter.PRESSURE_BEND])
        moved = level * at.dynamic
        self._pressure_by_level, self._pressure_by_slope = moved * shape, moved * is_free * at.away
        self._pressure_by_wheel = level * at.density * (2.0 * wheel * shape - at.airflow * steep)
        # What a trace of torque comes to, once the motor's lag and the belt's creep have answered.
        answer = (at.torque > LEAST_TORQUE) / (1.0 - self._torque_by_wheel * by_torque)
        self._of_load()
        self._load_by_push = self._load_by_torque * answer
        self._pressure_by_push = self._pressure_by_wheel * by_torque * answer

    def _of_load(self) -> None:
        p, at, kind = self._p, self._at, self._plant.load_kind[0]
        self._bent = np.exp(p[Parameter.LOAD_EXPONENT] * np.log(at.load_ratio))
        by_torque: Floats | float = 1.0
        if kind == LoadKind.CURRENT:
            none = p[Parameter.NO_LOAD_CURRENT]
            self._active = 1.0 - np.square(none)
            self._working, self._magnetising = at.torque / at.flux, at.flux * none
            squared = np.square(self._magnetising) + self._active * np.square(self._working)
            self._current = np.sqrt(squared)
            by_torque = self._active * self._working / (at.flux * self._current)
        elif kind == LoadKind.POWER:
            by_torque = (at.motor_speed - at.torque * self._lag) / (1.0 - self._plant.rated_slip[0])
        exponent = p[Parameter.LOAD_EXPONENT] * self._ratio_by_torque / at.load_ratio
        self._load_by_torque = self._bent * by_torque + self._expected.load * exponent

    def moves(self) -> Mapping[Parameter, Callable[[], _Move]]:
        """Return what each parameter does to pressure and to load, None for nothing."""
        at = self._at
        return {
            Parameter.PRESSURE_LEVEL: lambda: (self._pressure_by_level, None),
            Parameter.PRESSURE_SLOPE: lambda: (self._pressure_by_slope, None),
            Parameter.PRESSURE_BEND: lambda: (self._pressure_by_slope * at.away, None),
            Parameter.PATH: lambda: (-at.density * np.square(at.airflow), None),
            Parameter.TORQUE_LEVEL: lambda: self._pushed(self._torque_by_level),
            Parameter.TORQUE_SLOPE: lambda: self._pushed(self._torque_by_slope),
            Parameter.TORQUE_BEND: lambda: self._pushed(self._torque_by_slope * at.away),
            Parameter.FRICTION: lambda: (self._pressure_by_push, self._load_by_push),
            Parameter.CREEP: lambda: self._slowed(-at.motor_speed * at.load_ratio),
            Parameter.FLUX_EXPONENT: self._by_flux,
            Parameter.NO_LOAD_CURRENT: lambda: (None, self._by_none()),
            Parameter.LOAD_EXPONENT: lambda: (None, self._expected.load * np.log(at.load_ratio)),
        }

    def _pushed(self, torque: Floats) -> tuple[Floats, Floats]:
        return self._pressure_by_push * torque, self._load_by_push * torque

    def _slowed(self, wheel: Floats) -> tuple[Floats, Floats]:
        # A faster wheel asks for more torque, which slows it again.
        pressure, load = self._pushed(self._torque_by_wheel * wheel)
        return pressure + self._pressure_by_wheel * wheel, load

    def _by_flux(self) -> _Move:
        at, kind = self._at, self._plant.load_kind[0]
        log_flux = np.log(np.minimum(self._hours.speed, 1.0)) * (at.flux > LEAST_FLUX)
        motor = 2.0 * self._lag * at.torque * log_flux
        pressure, load = self._slowed(motor * self._kept)
        if kind == LoadKind.CURRENT:
            turns = np.square(self._magnetising) - self._active * np.square(self._working)
            load = load + self._bent * turns / self._current * log_flux
        elif kind == LoadKind.POWER:
            load = load + self._bent * at.torque / (1.0 - self._plant.rated_slip[0]) * motor
        return pressure, load

    def _by_none(self) -> Floats | None:
        if self._plant.load_kind[0] != LoadKind.CURRENT:
            return None
        none = self._p[Parameter.NO_LOAD_CURRENT]
        turns = np.square(self._at.flux) - np.square(self._working)
        return np.asarray(self._bent * none * turns / self._current)


def _shape(away: Floats, slope: Floats, bend: Floats) -> tuple[Floats, Floats, Bools]:
    """Return a fan curve over its level, its slope by the flow coefficient, and where it may move."""
    bent = bend * away
    shape = (bent + slope) * away + 1.0
    is_free = shape > LEAST_SHAPE
    return np.maximum(shape, LEAST_SHAPE), (slope + 2.0 * bent) * is_free, is_free
