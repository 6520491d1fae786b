"""By how much does each parameter, and the flow itself, move what the sensors would read?

The motor's torque T solves T = h(T, p), as its own slip and the belt's follow it. So a parameter moves it by
dT = h_p dp / (1 - h_T), and everything else by way of T, of the wheel's speed w, of the airflow a, of the
density and of the motor's flux. All slopes are taken at the point that `model.expect` finds.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

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
    Turned,
    read,
    turned,
)
from analytics.slip_law import slip_slopes

_OF_THE_TURNING = frozenset(
    {
        Parameter.SLIP,
        Parameter.DRAG,
        Parameter.RATIO,
        Parameter.WHEEL,
        Parameter.AIRFLOW_GAIN,
        Parameter.AIRFLOW_ZERO,
        Parameter.SPEED_SCALE,
        Parameter.SLIP_STEEPNESS,
        Parameter.WHEEL_TORQUE,
        Parameter.DENSITY,
        Parameter.TORQUE_LEVEL,
        Parameter.TORQUE_SLOPE,
        Parameter.TORQUE_BEND,
        Parameter.FRICTION,
        Parameter.FLUX_EXPONENT,
        Parameter.CREEP,
    }
)


@dataclass(frozen=True, slots=True)
class Slopes:
    """Slopes of what is read by some parameters, each (..., fans, hours, parameters).

    `pressure` and `load` scaled as in `Operating`; `wheel` of the log of wheel speed.
    """

    pressure: Floats
    load: Floats
    wheel: Floats


@dataclass(frozen=True, slots=True)
class _Push:
    """What a parameter moves before torque answers: wheel speed, logs of airflow, density and flux, torque.

    None where it leaves one as it is; `motor` the motor's speed.
    """

    wheel: Floats | None = None
    log_airflow: Floats | None = None
    log_density: float | None = None
    torque: Floats | None = None
    motor: Floats | None = None
    log_flux: Floats | None = None


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
    at = turned(theta, plant, hours)
    here = _Here(theta, plant, hours, at)
    expected = read(theta, at, plant)
    shape = (*at.torque.shape, len(which))
    found = Slopes(np.zeros(shape), np.zeros(shape), np.zeros(shape))
    for place, name in enumerate(which):
        if name in _OF_THE_TURNING:
            pressure, load, wheel = here.moved(here.push(name))
            found.pressure[..., place], found.load[..., place] = pressure, load
            found.wheel[..., place] = wheel
        if name not in _OF_THE_TURNING or name is Parameter.WHEEL:
            pressure, load = here.read(name, expected)
            found.pressure[..., place] += pressure
            found.load[..., place] += load
    return expected, found


def flow_slopes_at(theta: Floats, plant: Plant, hours: Operating) -> tuple[Expected, Floats, Floats]:
    """Evaluate the model and the slopes of pressure and load by the log of the measured airflow.

    Parameters: as for `slopes_at`. Returns: the expectation; both slopes, each (..., fans, hours).
    """
    at = turned(theta, plant, hours)
    here = _Here(theta, plant, hours, at)
    pressure, load, _ = here.moved(here.by_flow())
    return read(theta, at, plant), pressure, load


class _Here:
    """The model's own slopes at a point, by which every parameter's are reckoned."""

    def __init__(self, theta: Floats, plant: Plant, hours: Operating, at: Turned) -> None:
        self._p = {name: theta[..., INDEX[name], None] for name in PARAMETERS}
        self._plant, self._hours, self._at = plant, hours, at
        self._turn()
        self._of_pressure()
        self._of_load()

    def _turn(self) -> None:
        p, at = self._p, self._at
        ratio, reference = np.exp(p[Parameter.RATIO]), self._plant.reference_torque[:, None]
        lag = self._plant.rated_slip[:, None] / np.square(at.flux)
        self._follows = (at.motor_speed > LEAST_MOTOR_SPEED).astype(np.float64)
        is_inside = (at.load_ratio > LEAST_LOAD_RATIO) & (at.load_ratio < MOST_LOAD_RATIO)
        self._ratio_by_torque = is_inside / reference
        slip, steepness = p[Parameter.SLIP], p[Parameter.SLIP_STEEPNESS]
        if np.any(slip):
            by_load, self._by_slip, self._by_steepness = slip_slopes(at.load_ratio, slip, steepness)
        else:
            # A healthy belt: what a first trace of slip would do.
            by_load, self._by_steepness = np.zeros_like(at.torque), np.zeros_like(at.torque)
            self._by_slip = at.load_ratio
        self._kept = ratio * (1.0 - p[Parameter.CREEP] * at.load_ratio - at.slip)
        self._wheel_speed = at.motor_speed * self._kept
        self._per_slip = -at.motor_speed * ratio
        self._lag_torque = lag * at.torque * self._follows
        self._motor_by_torque = -lag * self._follows
        kept_by_torque = -ratio * (p[Parameter.CREEP] + by_load) * self._ratio_by_torque
        self._wheel_by_torque = self._motor_by_torque * self._kept + at.motor_speed * kept_by_torque
        self._level = ratio * np.exp(p[Parameter.TORQUE_LEVEL])
        self._clean = 1.0 - p[Parameter.WHEEL_TORQUE] * p[Parameter.WHEEL]
        shape, steep, self._is_shaped = _shape(at.away, p[Parameter.TORQUE_SLOPE], p[Parameter.TORQUE_BEND])
        self._free = at.dynamic * shape * self._level
        per_speed = self._level * self._clean * at.density
        flow = at.airflow * steep
        self._push_by_wheel = per_speed * (2.0 * self._wheel_speed * shape - flow)
        self._push_by_flow = per_speed * self._wheel_speed * flow
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
        self._pressure_by_wheel = clean * at.density * (2.0 * self._wheel_speed * shape - flow)
        self._pressure_by_flow = clean * at.density * self._wheel_speed * flow - 2.0 * path * self._squared
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
        by_flux = (np.square(magnetising) - active * np.square(working)) / current
        self._load_by_flux = np.where(is_current, bent * by_flux, 0.0)
        self._load_by_motor = np.where(is_power, bent * at.torque / rated_speed, 0.0)
        by_none = (np.square(at.flux) * none - none * np.square(working)) / current
        self._load_by_none = np.where(is_current, bent * by_none, 0.0)

    def push(self, name: Parameter) -> _Push:
        """Return what a parameter of the turning moves before torque answers."""
        p, at, of_torque = self._p, self._at, self._free * self._clean
        pushes: Mapping[Parameter, Callable[[], _Push]] = {
            Parameter.SLIP: lambda: _Push(wheel=self._per_slip * self._by_slip),
            Parameter.SLIP_STEEPNESS: lambda: _Push(wheel=self._per_slip * self._by_steepness),
            Parameter.CREEP: lambda: _Push(wheel=self._per_slip * at.load_ratio),
            Parameter.RATIO: lambda: _Push(wheel=self._wheel_speed, torque=of_torque),
            Parameter.DRAG: lambda: _Push(torque=np.ones_like(of_torque)),
            Parameter.FRICTION: lambda: _Push(torque=np.ones_like(of_torque)),
            Parameter.WHEEL: lambda: _Push(torque=-p[Parameter.WHEEL_TORQUE] * self._free),
            Parameter.WHEEL_TORQUE: lambda: _Push(torque=-p[Parameter.WHEEL] * self._free),
            Parameter.TORQUE_LEVEL: lambda: _Push(torque=of_torque),
            Parameter.TORQUE_SLOPE: lambda: _Push(torque=self._by_shape() * at.away),
            Parameter.TORQUE_BEND: lambda: _Push(torque=self._by_shape() * np.square(at.away)),
            Parameter.DENSITY: lambda: _Push(log_density=1.0),
            Parameter.AIRFLOW_GAIN: lambda: _Push(log_airflow=-np.ones_like(of_torque)),
            Parameter.AIRFLOW_ZERO: lambda: _Push(log_airflow=-0.5 * self._per_squared_flow()),
            Parameter.SPEED_SCALE: self._by_speed,
            Parameter.FLUX_EXPONENT: self._by_exponent,
        }
        return pushes[name]()

    def by_flow(self) -> _Push:
        """Return what the log of the measured airflow moves before torque answers."""
        return _Push(log_airflow=np.square(self._hours.airflow) * self._per_squared_flow())

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
        lagging = self._by_log_flux(log_flux)
        motor = speed * self._follows + (0.0 if lagging.motor is None else lagging.motor)
        return _Push(wheel=motor * self._kept, motor=motor, log_flux=log_flux)

    def _by_exponent(self) -> _Push:
        speed = self._hours.speed * np.exp(self._p[Parameter.SPEED_SCALE])
        return self._by_log_flux(np.log(np.minimum(speed, 1.0)) * (self._at.flux > LEAST_FLUX))

    def _by_log_flux(self, log_flux: Floats) -> _Push:
        motor = 2.0 * self._lag_torque * log_flux
        return _Push(wheel=motor * self._kept, motor=motor, log_flux=log_flux)

    def moved(self, push: _Push) -> tuple[Floats, Floats, Floats]:
        """Return what a push comes to in pressure, load and the log of wheel speed."""
        torque = np.zeros_like(self._at.torque)
        wheel, pressure, load = torque.copy(), torque.copy(), torque.copy()
        if push.wheel is not None:
            torque += self._push_by_wheel * push.wheel
            wheel += push.wheel
        if push.log_airflow is not None:
            torque += self._push_by_flow * push.log_airflow
            pressure += self._pressure_by_flow * push.log_airflow
        if push.log_density is not None:
            torque += self._free * self._clean * push.log_density
            pressure += self._pressure_by_density * push.log_density
        if push.torque is not None:
            torque += push.torque
        torque *= self._answer
        wheel += self._wheel_by_torque * torque
        pressure += self._pressure_by_wheel * wheel
        load += self._load_by_torque * torque
        if push.log_flux is not None:
            load += self._load_by_flux * push.log_flux
        if push.motor is not None:
            load += self._load_by_motor * push.motor
        return pressure, load, wheel / self._wheel_speed

    def read(self, name: Parameter, expected: Expected) -> tuple[Floats, Floats]:
        """Return what a parameter does to the readings alone, of pressure and of load."""
        p, at = self._p, self._at
        of_pressure: Mapping[Parameter, Callable[[], Floats]] = {
            Parameter.WHEEL: lambda: -self._unfouled * self._pressure_shape,
            Parameter.PRESSURE_GAIN: lambda: expected.pressure - p[Parameter.PRESSURE_ZERO],
            Parameter.PRESSURE_ZERO: lambda: np.ones_like(at.torque),
            Parameter.PRESSURE_LEVEL: lambda: self._core,
            Parameter.PRESSURE_SLOPE: lambda: self._by_pressure_shape() * at.away,
            Parameter.PRESSURE_BEND: lambda: self._by_pressure_shape() * np.square(at.away),
            Parameter.PATH: lambda: -self._squared,
            Parameter.AIR_PATH: lambda: -self._squared,
        }
        of_load: Mapping[Parameter, Callable[[], Floats]] = {
            Parameter.LOAD_GAIN: lambda: expected.load,
            Parameter.LOAD_EXPONENT: lambda: expected.load * np.log(at.load_ratio),
            Parameter.NO_LOAD_CURRENT: lambda: self._load_by_none,
        }
        nothing = np.zeros_like(at.torque)
        if name in of_pressure:
            return of_pressure[name](), nothing
        return nothing, of_load[name]()

    def _by_pressure_shape(self) -> Floats:
        return np.asarray(self._is_pressure_shaped * self._unfouled * (1.0 - self._p[Parameter.WHEEL]))


def _shape(away: Floats, slope: Floats, bend: Floats) -> tuple[Floats, Floats, Bools]:
    """Return a fan curve over its level, its slope by the flow coefficient, and where it may move."""
    bent = bend * away
    shape = (bent + slope) * away + 1.0
    is_free = shape > LEAST_SHAPE
    return np.maximum(shape, LEAST_SHAPE), (slope + 2.0 * bent) * is_free, is_free
