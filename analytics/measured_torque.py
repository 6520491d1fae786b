"""How hard and how fast did the motor turn, as the readings say it?"""

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.model import INDEX, LoadKind, Parameter, flux_of
from analytics.motor import torque_fraction_from_current

_ROUNDS = 16


def measured_torque(load: Floats, speed: Floats, curves: HealthyCurves) -> tuple[Floats, Floats]:
    """Return motor torque and motor speed from the reading of load, with the motor as the healthy fit has it.

    The inverse of the model's load: what the readings say, whatever the fan's state. A drifting meter
    drifts here too.

    Parameters: `load` as the curves' load kind says, of rated (hours,); `speed`, output frequency over
    base, broadcast against it; `curves`.
    Returns: torque [of rated] and motor speed [of synchronous at base frequency]; NaN without a reading
    of load.
    Equation: I = sqrt((phi I0)^2 + (1 - I0^2) (T / phi)^2), P = T n / n_rated, n = f - s_r T / phi^2.
    Validity and source: as for `analytics.model` and `analytics.motor.torque_fraction_from_current`.
    """
    fitted = {name: float(curves.mean[i]) for name, i in INDEX.items()}
    flux = flux_of(speed, np.asarray(fitted[Parameter.FLUX_EXPONENT]))
    kind = curves.channels.load_kind
    if kind is LoadKind.NONE:
        return np.full(np.shape(load), np.nan), np.asarray(speed * np.ones_like(load))
    torque: Floats = curves.reference_torque * np.square(speed) + np.zeros_like(load)
    motor_speed: Floats = speed + np.zeros_like(load)
    for _ in range(_ROUNDS):
        motor_speed = np.maximum(speed - curves.rated_slip * torque / np.square(flux), 0.05)
        ratio = np.clip(torque / curves.reference_torque, 0.02, 2.0)
        plain = load * np.power(ratio, -fitted[Parameter.LOAD_EXPONENT])
        if kind is LoadKind.CURRENT:
            torque = torque_fraction_from_current(plain, 1.0, fitted[Parameter.NO_LOAD_CURRENT], flux)
        elif kind is LoadKind.POWER:
            torque = plain * (1.0 - curves.rated_slip) / motor_speed
        else:
            torque = plain
    return torque, motor_speed


def shaft_power(torque: Floats, motor_speed: Floats, curves: HealthyCurves) -> Floats:
    """Return motor shaft power of rated.

    Parameters: `torque` of rated, `motor_speed` of synchronous at base frequency, (hours,); `curves`.
    Equation: P = T n / n_rated.
    """
    return torque * motor_speed / (1.0 - curves.rated_slip)
