"""What would the sensors read, given the fan's healthy curves and the causes at work on it?

One forward model serves the healthy fit, the daily state and the evidence: everything that moves
pressure, torque or speed is a parameter here, so that no two places disagree about physics.

Equations (n motor speed over synchronous speed at base frequency, q airflow, rho density over
1.2 kg/m3, T motor shaft torque over rated, k wheel speed over healthy wheel speed):

    n = f u - s_r T / phi(f)^2                       motor slip follows torque
    k = r (1 - C T/T_ref - s(T/T_ref))               healthy creep, belt slip above it, speed ratio
    x = q / (n k),  p = (rho n^2 k^2 G(x) (1 - w) - (C + c) rho q^2) d + e
    T = rho n^2 k^2 r F(x) (1 - a w) + T0 + dT
    I = sqrt((phi I0)^2 + (1 - I0^2) (T / phi)^2)    magnetising current removed in quadrature

The motor torque is transmitted whole and speed is lost, so motor power falls with k^2, not k^3.
G and F are quadratics in flow: head less friction and incidence losses is one, and shaft torque nearly.
C is the path between fan and pressure sensor, 0 across the fan; a, by which a fouled wheel's torque falls
with its pressure, is known to lie between a half and one.
Validity: quasi-steady hours inside the fitted range, T above no load.
Source: affinity laws as in any fan handbook; quadrature form checked against a
measured 18.5 kW motor; the slip law is `slip_law`'s, its steepness a free parameter.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.motor import flux_fraction
from analytics.slip_law import belt_law, slip_by


class Parameter(StrEnum):
    """The parameters of the forward model: causes, then nuisances, then the healthy curves."""

    SLIP = "slip"
    DRAG = "drag"
    RATIO = "ratio"
    WHEEL = "wheel"
    AIRFLOW_GAIN = "airflow_gain"
    AIRFLOW_ZERO = "airflow_zero"
    PRESSURE_GAIN = "pressure_gain"
    PRESSURE_ZERO = "pressure_zero"
    LOAD_GAIN = "load_gain"
    SPEED_SCALE = "speed_scale"
    AIR_PATH = "air_path"
    SLIP_STEEPNESS = "slip_steepness"
    WHEEL_TORQUE = "wheel_torque"
    DENSITY = "density"
    PRESSURE_LEVEL = "pressure_level"
    PRESSURE_SLOPE = "pressure_slope"
    PRESSURE_BEND = "pressure_bend"
    TORQUE_LEVEL = "torque_level"
    TORQUE_SLOPE = "torque_slope"
    TORQUE_BEND = "torque_bend"
    FRICTION = "friction"
    FLUX_EXPONENT = "flux_exponent"
    NO_LOAD_CURRENT = "no_load_current"
    CREEP = "creep"
    PATH = "path"
    LOAD_EXPONENT = "load_exponent"


PARAMETERS: tuple[Parameter, ...] = tuple(Parameter)
INDEX: dict[Parameter, int] = {name: i for i, name in enumerate(PARAMETERS)}
CAUSES: tuple[Parameter, ...] = PARAMETERS[: INDEX[Parameter.SLIP_STEEPNESS]]
CURVE: tuple[Parameter, ...] = PARAMETERS[INDEX[Parameter.PRESSURE_LEVEL] :]
SIZE = len(PARAMETERS)

_READ_PARAMETERS = (
    Parameter.WHEEL,
    Parameter.PRESSURE_GAIN,
    Parameter.PRESSURE_ZERO,
    Parameter.LOAD_GAIN,
    Parameter.AIR_PATH,
    Parameter.PRESSURE_LEVEL,
    Parameter.PRESSURE_SLOPE,
    Parameter.PRESSURE_BEND,
    Parameter.NO_LOAD_CURRENT,
    Parameter.PATH,
    Parameter.LOAD_EXPONENT,
)
# A fouled wheel shows in the pressure and turns harder: it is of both.
_TURNING_PARAMETERS = tuple(
    name for name in PARAMETERS if name is Parameter.WHEEL or name not in _READ_PARAMETERS
)

# Past this the slip law is not believed: a day far above the reference torque is no proof.
MOST_LOAD_RATIO = 1.3
# What the model's values are held above, so that no trial point of a search leaves physics.
LEAST_LOAD_RATIO = 0.02
LEAST_MOTOR_SPEED = 0.05
LEAST_SQUARED_FLOW = 1e-4
LEAST_SHAPE = 0.02
LEAST_TORQUE = 1e-3
LEAST_FLUX = 0.05
# Steps from what speed alone says of the torque, and from a torque found nearby.
_STEPS, _STEPS_NEAR = 3, 2


class LoadKind(IntEnum):
    """Which reading says how hard the motor turns."""

    NONE = 0
    CURRENT = 1
    POWER = 2
    TORQUE = 3


@dataclass(frozen=True, slots=True)
class Plant:
    """The fixed facts of a batch of fans; every field has shape (fans,).

    `rated_slip` [1] of synchronous speed, 0 where motor speed is known; `load_kind` of LoadKind;
    `reference_torque` [of rated].
    """

    rated_slip: Floats
    load_kind: Floats
    reference_torque: Floats


@dataclass(frozen=True, slots=True)
class Operating:
    """Steady hours of a batch of fans, scaled; every field has shape (fans, hours).

    `speed` output frequency over base; `airflow` over the fan's airflow scale; `density` over
    1.2 kg/m3; `pressure` over the pressure scale; `load` as the load kind says, of rated;
    `is_used` where the hour counts. Unused hours hold ones.
    """

    speed: Floats
    airflow: Floats
    density: Floats
    pressure: Floats
    load: Floats
    is_used: Bools


@dataclass(frozen=True, slots=True)
class Expected:
    """What the model expects: shape (..., fans, hours), scaled as in `Operating`."""

    pressure: Floats
    load: Floats
    torque: Floats
    motor_speed: Floats
    slip: Floats
    load_ratio: Floats


def expect(theta: Floats, plant: Plant, hours: Operating) -> Expected:
    """Evaluate the forward model.

    Parameters: `theta` (..., fans, SIZE) [causes 1 or of scale, curves in logs]; `plant`; `hours`, whose
    airflow may have axes before those of `theta`, for several flows at once. Returns: `Expected`; `slip` is
    the belt slip above healthy creep, `load_ratio` T over the reference torque.
    """
    return read(theta, turned(theta, plant, hours), plant)


@dataclass(frozen=True, slots=True)
class Turned:
    """How the motor and the wheel turn: torque, speeds, slip, and what the wheel does to the air.

    `kept` wheel over motor speed; `lost_by_load` what of it creep and slip take, by the load ratio, before
    the sheaves' ratio; `shape` of the torque curve at the flow coefficient, and its slope `steep` by it; all
    (..., fans, hours).
    """

    torque: Floats
    motor_speed: Floats
    slip: Floats
    load_ratio: Floats
    kept: Floats
    lost_by_load: Floats
    wheel_speed: Floats
    shape: Floats
    steep: Floats
    airflow: Floats
    density: Floats
    flux: Floats
    away: Floats  # the flow coefficient less 1
    dynamic: Floats


def turned(theta: Floats, plant: Plant, hours: Operating, torque: Floats | None = None) -> Turned:
    """Evaluate how the fan turns: the part of `expect` that no reading's own parameter moves.

    Parameters: as for `expect`; `torque` (..., fans, hours) near which to begin, None: as speed alone says.
    Equation: T = h(T) by Newton's steps, T + (h(T) - T) / (1 - h'(T)), h as the module says: a belt past its
    knee sheds torque so fast that plain repetition circles about it or runs away.
    """
    p = {name: theta[..., INDEX[name], None] for name in _TURNING_PARAMETERS}
    squared = hours.airflow**2 - p[Parameter.AIRFLOW_ZERO]
    airflow = np.sqrt(np.maximum(squared, LEAST_SQUARED_FLOW)) * np.exp(-p[Parameter.AIRFLOW_GAIN])
    density = hours.density * np.exp(p[Parameter.DENSITY])
    speed = hours.speed * np.exp(p[Parameter.SPEED_SCALE])
    ratio, creep = np.exp(p[Parameter.RATIO]), p[Parameter.CREEP]
    flux = flux_of(speed, p[Parameter.FLUX_EXPONENT])
    lag = plant.rated_slip[:, None] / np.square(flux)
    reference = plant.reference_torque[:, None]
    steps = _STEPS if torque is None else _STEPS_NEAR
    torque = reference * np.square(speed) + np.zeros_like(airflow) if torque is None else torque
    level = ratio * np.exp(p[Parameter.TORQUE_LEVEL])
    level = level * (1.0 - p[Parameter.WHEEL_TORQUE] * p[Parameter.WHEEL])
    rubbing = p[Parameter.FRICTION] + p[Parameter.DRAG]
    per_torque = ratio / reference
    # Slip's law is most of the work, and a healthy fan needs none.
    is_slipping, slip = bool(np.any(p[Parameter.SLIP])), np.zeros_like(torque)
    law, lost = belt_law(p[Parameter.SLIP], p[Parameter.SLIP_STEEPNESS]), creep
    for done in range(steps + 1):
        motor_speed = np.maximum(speed - lag * torque, LEAST_MOTOR_SPEED)
        load_ratio = np.minimum(np.maximum(torque / reference, LEAST_LOAD_RATIO), MOST_LOAD_RATIO)
        if is_slipping:
            slip, slope = slip_by(law, load_ratio)
            lost = creep + slope * (load_ratio < MOST_LOAD_RATIO)
        kept = ratio * (1.0 - creep * load_ratio - slip)
        wheel_speed = motor_speed * kept
        flow = airflow / wheel_speed
        away = flow - 1.0
        dynamic = np.square(wheel_speed)
        dynamic *= density
        shape, steep = _shape(away, p[Parameter.TORQUE_SLOPE], p[Parameter.TORQUE_BEND])
        free = dynamic * level
        due = np.maximum(free * shape + rubbing, LEAST_TORQUE)
        if done == steps:
            break
        # What torque the wheel sheds, by its speed, as the motor's lag and the belt take speed off it.
        shed = 2.0 * shape - flow * steep
        shed *= free / wheel_speed
        shed *= lag * kept + motor_speed * (per_torque * lost)
        torque = torque + (due - torque) / (1.0 + np.maximum(shed, 0.0))
    found = (due, motor_speed, slip, load_ratio, kept, lost, wheel_speed, shape, steep)
    return Turned(*found, airflow, density, flux, away, dynamic)


def read(theta: Floats, at: Turned, plant: Plant) -> Expected:
    """Evaluate what is read of a fan that turns so."""
    p = {name: theta[..., INDEX[name], None] for name in _READ_PARAMETERS}
    shape, _ = _shape(at.away, p[Parameter.PRESSURE_SLOPE], p[Parameter.PRESSURE_BEND])
    pressure = at.dynamic * shape * (np.exp(p[Parameter.PRESSURE_LEVEL]) * (1.0 - p[Parameter.WHEEL]))
    path = p[Parameter.PATH] + p[Parameter.AIR_PATH]
    pressure = pressure - path * (at.density * np.square(at.airflow))
    pressure = pressure * np.exp(p[Parameter.PRESSURE_GAIN]) + p[Parameter.PRESSURE_ZERO]
    load = _load(at.torque, at.motor_speed, at.flux, p[Parameter.NO_LOAD_CURRENT], plant)
    # What part load does to a motor's efficiency, a wheel's losses and a meter is known to a power law.
    load = load * np.exp(p[Parameter.LOAD_GAIN] + p[Parameter.LOAD_EXPONENT] * np.log(at.load_ratio))
    return Expected(pressure, load, at.torque, at.motor_speed, at.slip, at.load_ratio)


def _shape(away: Floats, slope: Floats, bend: Floats) -> tuple[Floats, Floats]:
    # A fan curve over its level, at the flow coefficient less 1, and its slope by it.
    bent = bend * away
    steep = bent + slope
    shape = steep * away
    shape += 1.0
    steep += bent
    return np.maximum(shape, LEAST_SHAPE, out=shape), steep


def curve(x: Floats, level: Floats, slope: Floats, bend: Floats) -> Floats:
    """Return a fan curve at flow coefficient `x` over its scale: exp(level) (1 + slope (x-1) + bend (x-1)^2).

    `slope` is d ln / d ln x at the usual operating point x = 1; all of one shape.
    """
    return np.asarray(np.exp(level) * _shape(x - 1.0, slope, bend)[0])


def flux_of(speed: Floats, exponent: Floats) -> Floats:
    """Return motor flux over rated flux, held above nothing: current is divided by it."""
    return np.maximum(flux_fraction(speed, exponent), LEAST_FLUX)


def _load(torque: Floats, motor_speed: Floats, flux: Floats, no_load: Floats, plant: Plant) -> Floats:
    kind = plant.load_kind[:, None]
    rated_speed = 1.0 - plant.rated_slip[:, None]
    current = np.sqrt((flux * no_load) ** 2 + (1.0 - no_load**2) * (torque / flux) ** 2)
    power = torque * motor_speed / rated_speed
    return np.where(kind == LoadKind.CURRENT, current, np.where(kind == LoadKind.POWER, power, torque))
