"""By how much does each parameter, and the flow itself, move what the sensors would read?

The motor's torque T solves T = h(T, p), as its own slip and the belt's follow it. So a parameter moves it by
dT = h_p dp / (1 - h_T), and everything else by way of T, of the wheel's speed w, of the airflow a, of the
density and of the motor's flux. All slopes are taken at the point that `model.expect` finds.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.model import (
    INDEX,
    LEAST_FLUX,
    LEAST_LOAD_RATIO,
    LEAST_MOTOR_SPEED,
    LEAST_SHAPE,
    LEAST_SQUARED_FLOW,
    LEAST_TORQUE,
    MOST_LOAD_RATIO,
    PARAMETERS,
    Expected,
    LoadKind,
    Operating,
    Parameter,
    Plant,
    read,
    turned,
)
from analytics.slip_law import slip_slopes


@dataclass(frozen=True, slots=True)
class Slopes:
    """Slopes of what is read by some parameters, each (..., fans, hours, parameters).

    `pressure` and `load` scaled as in `Operating`.
    """

    pressure: Floats
    load: Floats


class _Answer(NamedTuple):
    """What pressure, load and wheel speed answer to one unit of something, each (..., fans, hours)."""

    pressure: Floats
    load: Floats
    wheel: Floats


class _Push(NamedTuple):
    """What one unit of a parameter does before anything answers, each (..., fans, hours), None for nothing.

    To the motor's `torque`, to the `wheel`'s speed, to what is read of `pressure` and of `load`.
    """

    torque: Floats | float | None = None
    wheel: Floats | None = None
    pressure: Floats | None = None
    load: Floats | None = None


def linearise(
    theta: Floats, plant: Plant, hours: Operating, which: tuple[Parameter, ...] = PARAMETERS
) -> tuple[Expected, Floats, Floats]:
    """Evaluate the model and the slopes of pressure and of load, each (..., fans, hours, parameters)."""
    expected, slopes = slopes_at(theta, plant, hours, which)
    return expected, slopes.pressure, slopes.load


def slopes_at(
    theta: Floats, plant: Plant, hours: Operating, which: tuple[Parameter, ...] = PARAMETERS
) -> tuple[Expected, Slopes]:
    """Evaluate the model and its slopes at `theta`.

    Parameters: `theta` (..., fans, SIZE); `plant`; `hours`, whose airflow may have axes before those of
    `theta`; `which` parameters to take slopes by. Returns: the expectation and the slopes.
    Equation: the implicit function theorem, as the module says. Validity: away from where the model's
    values are held to a bound, on which it does not move.
    Source: any text on analysis; checked against differences of the model itself.
    """
    here = _Here(theta, plant, hours)
    # A parameter after the other in memory while they are found, side by side for whoever sums over them.
    side_by_side = (np.ascontiguousarray(np.moveaxis(part, 0, -1)) for part in here.read_by(which))
    return here.expected, Slopes(*side_by_side)


def slopes_by_parameter(
    theta: Floats,
    plant: Plant,
    hours: Operating,
    which: tuple[Parameter, ...],
    torque: Floats | None = None,
) -> tuple[Expected, Floats]:
    """Evaluate the model and its slopes at `theta`, a parameter's hours side by side.

    Parameters: `theta` (fans, SIZE); `plant`; `hours` (fans, hours); `which` parameters; `torque`
    (fans, hours) near which the model begins its search.
    Returns: the expectation; the slopes (fans, parameters, 2, hours) of pressure and of load.
    Equation, validity and source: as for `slopes_at`.
    """
    here = _Here(theta, plant, hours, torque)
    return here.expected, np.stack([part.swapaxes(0, 1) for part in here.read_by(which)], axis=2)


def wheel_slopes_at(
    theta: Floats, plant: Plant, hours: Operating, which: tuple[Parameter, ...]
) -> tuple[Expected, Floats]:
    """Evaluate the model and the slopes (fans, hours, parameters) of the log of wheel speed alone.

    Parameters, equation, validity and source: as for `slopes_at`.
    """
    here = _Here(theta, plant, hours)
    found = here.wheel_by(which) / here.wheel_speed
    return here.expected, np.ascontiguousarray(np.moveaxis(found, 0, -1))


def flow_slopes_at(theta: Floats, plant: Plant, hours: Operating) -> tuple[Expected, Floats, Floats]:
    """Evaluate the model and the slopes of pressure and load by the log of the measured airflow.

    Parameters: as for `slopes_at`. Returns: the expectation; both slopes, each (..., fans, hours).
    """
    here = _Here(theta, plant, hours)
    pressure, load = here.by_flow()
    return here.expected, pressure, load


class _Here:
    """The model's own slopes at a point, by which every parameter's are reckoned."""

    def __init__(self, theta: Floats, plant: Plant, hours: Operating, torque: Floats | None = None) -> None:
        at = turned(theta, plant, hours, torque)
        self._p = {name: theta[..., INDEX[name], None] for name in PARAMETERS}
        self._plant, self._hours, self._at = plant, hours, at
        self.expected = read(theta, at, plant)
        self._turn()
        self._of_pressure()
        self._of_load()
        self._answers()

    def _turn(self) -> None:
        p, at = self._p, self._at
        ratio, reference = np.exp(p[Parameter.RATIO]), self._plant.reference_torque[:, None]
        lag = self._plant.rated_slip[:, None] / np.square(at.flux)
        self._follows = (at.motor_speed > LEAST_MOTOR_SPEED).astype(np.float64)
        is_inside = (at.load_ratio > LEAST_LOAD_RATIO) & (at.load_ratio < MOST_LOAD_RATIO)
        self._ratio_by_torque = is_inside / reference
        self._kept, self.wheel_speed = at.kept, at.wheel_speed
        self._per_slip = -at.motor_speed * ratio
        self._lag_torque = lag * at.torque * self._follows
        self._motor_by_torque = -lag * self._follows
        kept_by_torque = -ratio * at.lost_by_load * self._ratio_by_torque
        self._wheel_by_torque = self._motor_by_torque * self._kept + at.motor_speed * kept_by_torque
        self._level = ratio * np.exp(p[Parameter.TORQUE_LEVEL])
        self._clean = 1.0 - p[Parameter.WHEEL_TORQUE] * p[Parameter.WHEEL]
        shape, self._is_shaped = at.shape, at.shape > LEAST_SHAPE
        self._free = at.dynamic * shape * self._level
        self._of_air = self._free * self._clean
        per_speed = self._level * self._clean * at.density
        flow = at.airflow * at.steep * self._is_shaped
        self._push_by_wheel = per_speed * (2.0 * self.wheel_speed * shape - flow)
        self._push_by_flow = per_speed * self.wheel_speed * flow
        self._answer = (at.torque > LEAST_TORQUE) / (1.0 - self._push_by_wheel * self._wheel_by_torque)

    def _of_pressure(self) -> None:
        p, at = self._p, self._at
        shape, steep, self._is_pressure_shaped = _shape(
            at.away, p[Parameter.PRESSURE_SLOPE], p[Parameter.PRESSURE_BEND]
        )
        self._gain = np.exp(p[Parameter.PRESSURE_GAIN])
        self._level_pressure = np.exp(p[Parameter.PRESSURE_LEVEL]) * self._gain
        path = p[Parameter.PATH] + p[Parameter.AIR_PATH]
        self._squared = at.density * np.square(at.airflow) * self._gain
        self._unfouled = at.dynamic * self._level_pressure
        clean = self._level_pressure * (1.0 - p[Parameter.WHEEL])
        self._core = at.dynamic * shape * clean
        self._pressure_shape = shape
        flow = at.airflow * steep
        self._pressure_by_wheel = clean * at.density * (2.0 * self.wheel_speed * shape - flow)
        self._pressure_by_flow = clean * at.density * self.wheel_speed * flow - 2.0 * path * self._squared
        self._pressure_by_density = self._core - path * self._squared

    def _of_load(self) -> None:
        p, at, plant = self._p, self._at, self._plant
        kind = plant.load_kind[:, None]
        none = p[Parameter.NO_LOAD_CURRENT]
        magnetising, working = at.flux * none, at.torque / at.flux
        active = 1.0 - np.square(none)
        current = np.sqrt(np.square(magnetising) + active * np.square(working))
        is_current, is_power = kind == LoadKind.CURRENT, kind == LoadKind.POWER
        rated_speed = 1.0 - plant.rated_slip[:, None]
        by_power = (at.motor_speed + at.torque * self._motor_by_torque) / rated_speed
        bent = np.exp(p[Parameter.LOAD_GAIN] + p[Parameter.LOAD_EXPONENT] * np.log(at.load_ratio))
        by_torque = np.where(
            is_current, active * working / (at.flux * current), np.where(is_power, by_power, 1.0)
        )
        base = np.where(
            is_current, current, np.where(is_power, at.torque * at.motor_speed / rated_speed, at.torque)
        )
        exponent = p[Parameter.LOAD_EXPONENT] * self._ratio_by_torque / at.load_ratio
        self._load_by_torque = bent * (by_torque + base * exponent)
        self._bent, self._active, self._working, self._current = bent, active, working, current
        self._magnetising, self._is_current, self._is_power = magnetising, is_current, is_power

    def _load_by_flux(self) -> Floats:
        turns = np.square(self._magnetising) - self._active * np.square(self._working)
        return np.where(self._is_current, self._bent * turns / self._current, 0.0)

    def _load_by_motor(self) -> Floats:
        rated_speed = 1.0 - self._plant.rated_slip[:, None]
        return np.where(self._is_power, self._bent * self._at.torque / rated_speed, 0.0)

    def _load_by_none(self) -> Floats:
        none = self._p[Parameter.NO_LOAD_CURRENT]
        turns = none * (np.square(self._at.flux) - np.square(self._working))
        return np.where(self._is_current, self._bent * turns / self._current, 0.0)

    def _answers(self) -> None:
        """Reckon what the readings answer once torque has answered, to a unit of all that may be pushed."""
        wheel, load = self._wheel_by_torque * self._answer, self._load_by_torque * self._answer
        self._to_torque = _Answer(self._pressure_by_wheel * wheel, load, wheel)
        by_wheel = 1.0 + wheel * self._push_by_wheel
        self._to_wheel = _Answer(self._pressure_by_wheel * by_wheel, load * self._push_by_wheel, by_wheel)

    def read_by(self, which: tuple[Parameter, ...]) -> tuple[Floats, Floats]:
        """Return the slopes of pressure and of load by some parameters, (parameters, ..., fans, hours)."""
        torque, wheel, pressure, load = self._pushed(which)
        pressure += torque * self._to_torque.pressure
        pressure += wheel * self._to_wheel.pressure
        load += torque * self._to_torque.load
        load += wheel * self._to_wheel.load
        return pressure, load

    def wheel_by(self, which: tuple[Parameter, ...]) -> Floats:
        """Return the slopes of the wheel's speed by some parameters, (parameters, ..., fans, hours)."""
        torque, wheel, _, _ = self._pushed(which)
        return np.asarray(torque * self._to_torque.wheel + wheel * self._to_wheel.wheel)

    def _pushed(self, which: tuple[Parameter, ...]) -> Floats:
        """Return what some parameters push, (4, parameters, ..., fans, hours), in the order of `_Push`."""
        found = np.zeros((4, len(which), *self.expected.pressure.shape))
        pushes = self._pushes()
        for place, name in enumerate(which):
            for kind, amount in enumerate(pushes[name]()):
                if amount is not None:
                    found[kind, place] = amount
        return found

    def _pushes(self) -> Mapping[Parameter, Callable[[], _Push]]:
        p, at, expected = self._p, self._at, self.expected
        slip, steepness = p[Parameter.SLIP], p[Parameter.SLIP_STEEPNESS]
        # Of a healthy belt, what a first trace of slip would do.
        by_slip, by_steepness = at.load_ratio, np.zeros_like(at.load_ratio)
        if np.any(slip):
            by_slip, by_steepness = slip_slopes(at.load_ratio, slip, steepness)
        return {
            Parameter.SLIP: lambda: _Push(wheel=self._per_slip * by_slip),
            Parameter.SLIP_STEEPNESS: lambda: _Push(wheel=self._per_slip * by_steepness),
            Parameter.CREEP: lambda: _Push(wheel=self._per_slip * at.load_ratio),
            Parameter.RATIO: lambda: _Push(torque=self._of_air, wheel=self.wheel_speed),
            Parameter.DRAG: lambda: _Push(torque=1.0),
            Parameter.FRICTION: lambda: _Push(torque=1.0),
            Parameter.WHEEL: lambda: _Push(
                torque=-p[Parameter.WHEEL_TORQUE] * self._free,
                pressure=-self._unfouled * self._pressure_shape,
            ),
            Parameter.WHEEL_TORQUE: lambda: _Push(torque=-p[Parameter.WHEEL] * self._free),
            Parameter.TORQUE_LEVEL: lambda: _Push(torque=self._of_air),
            Parameter.TORQUE_SLOPE: lambda: _Push(torque=self._by_shape() * at.away),
            Parameter.TORQUE_BEND: lambda: _Push(torque=self._by_shape() * np.square(at.away)),
            Parameter.DENSITY: lambda: _Push(torque=self._of_air, pressure=self._pressure_by_density),
            Parameter.AIRFLOW_GAIN: lambda: self._by_log_flow(-1.0),
            Parameter.AIRFLOW_ZERO: lambda: self._by_log_flow(-0.5 * self._per_squared_flow()),
            Parameter.SPEED_SCALE: self._by_speed,
            Parameter.FLUX_EXPONENT: self._by_exponent,
            Parameter.PRESSURE_GAIN: lambda: _Push(pressure=expected.pressure - p[Parameter.PRESSURE_ZERO]),
            Parameter.PRESSURE_ZERO: lambda: _Push(pressure=np.ones_like(at.torque)),
            Parameter.PRESSURE_LEVEL: lambda: _Push(pressure=self._core),
            Parameter.PRESSURE_SLOPE: lambda: _Push(pressure=self._by_pressure_shape() * at.away),
            Parameter.PRESSURE_BEND: lambda: _Push(pressure=self._by_pressure_shape() * np.square(at.away)),
            Parameter.PATH: lambda: _Push(pressure=-self._squared),
            Parameter.AIR_PATH: lambda: _Push(pressure=-self._squared),
            Parameter.LOAD_GAIN: lambda: _Push(load=expected.load),
            Parameter.LOAD_EXPONENT: lambda: _Push(load=expected.load * np.log(at.load_ratio)),
            Parameter.NO_LOAD_CURRENT: lambda: _Push(load=self._load_by_none()),
        }

    def by_flow(self) -> tuple[Floats, Floats]:
        """Return the slopes of pressure and of load by the log of the measured airflow."""
        amount, push = np.square(self._hours.airflow) * self._per_squared_flow(), self._push_by_flow
        pressure = self._pressure_by_flow + self._to_torque.pressure * push
        return pressure * amount, self._to_torque.load * push * amount

    def _by_log_flow(self, amount: Floats | float) -> _Push:
        return _Push(torque=self._push_by_flow * amount, pressure=self._pressure_by_flow * amount)

    def _by_shape(self) -> Floats:
        return np.asarray(self._is_shaped * self._at.dynamic * self._level * self._clean)

    def _per_squared_flow(self) -> Floats:
        squared = np.square(self._hours.airflow) - self._p[Parameter.AIRFLOW_ZERO]
        return np.where(squared > LEAST_SQUARED_FLOW, 1.0 / np.maximum(squared, LEAST_SQUARED_FLOW), 0.0)

    def _by_speed(self) -> _Push:
        at, exponent = self._at, self._p[Parameter.FLUX_EXPONENT]
        speed = self._hours.speed * np.exp(self._p[Parameter.SPEED_SCALE])
        # Below base speed flux follows its law, above it falls as speed rises.
        log_flux = np.where(speed > 1.0, -1.0, exponent) * (at.flux > LEAST_FLUX)
        return self._by_motor(speed * self._follows, log_flux)

    def _by_exponent(self) -> _Push:
        speed = self._hours.speed * np.exp(self._p[Parameter.SPEED_SCALE])
        return self._by_motor(0.0, np.log(np.minimum(speed, 1.0)) * (self._at.flux > LEAST_FLUX))

    def _by_motor(self, speed: Floats | float, log_flux: Floats) -> _Push:
        # More flux leaves the motor less slip, and takes more current to magnetise.
        motor = speed + 2.0 * self._lag_torque * log_flux
        load = self._load_by_motor() * motor + self._load_by_flux() * log_flux
        return _Push(wheel=self._kept * motor, load=load)

    def _by_pressure_shape(self) -> Floats:
        return np.asarray(self._is_pressure_shaped * self._unfouled * (1.0 - self._p[Parameter.WHEEL]))


def _shape(away: Floats, slope: Floats, bend: Floats) -> tuple[Floats, Floats, Bools]:
    """Return a fan curve over its level, its slope by the flow coefficient, and where it may move."""
    bent = bend * away
    shape = (bent + slope) * away + 1.0
    is_free = shape > LEAST_SHAPE
    return np.maximum(shape, LEAST_SHAPE), (slope + 2.0 * bent) * is_free, is_free
