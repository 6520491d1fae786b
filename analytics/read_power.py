"""What power did the readings of a period say, and how far may the motor's own curves bend it?"""

from dataclasses import replace
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.compared_hours import Compared, Meter
from analytics.curves import HealthyCurves
from analytics.measured_torque import measured_torque, shaft_power
from analytics.model import INDEX, LoadKind, Parameter
from analytics.savings import PeriodHours, saving

_MOTOR: Final = (Parameter.FLUX_EXPONENT, Parameter.NO_LOAD_CURRENT, Parameter.LOAD_EXPONENT)
_CURVE_FIRST: Final = INDEX[Parameter.PRESSURE_LEVEL]


def shaft_kw(load: Floats, speed: Floats, curves: HealthyCurves, meter: Meter) -> Floats:
    """Return motor shaft power from the reading of load [kW].

    Parameters: `load` of rated as the curves' load kind says, `speed`, output frequency over base, (hours,);
    `curves`; `meter`. Returns: (hours,) [kW]; NaN without a reading, or below what the motor draws idle.
    Source: `analytics.measured_torque`.
    """
    torque, motor_speed = measured_torque(load, speed, curves)
    power = shaft_power(torque, motor_speed, curves) * meter.rated_kw
    return np.asarray(np.where(power > 0.0, power, np.nan))


def motor_doubt(
    compared: Compared,
    before: tuple[Floats, Floats],
    after: tuple[Floats, Floats],
    curves: HealthyCurves,
    meter: Meter,
) -> float:
    """How far the saving's logarithm may be off because amps do not say torque exactly.

    A belt put right turns the wheel as before at a lower command, and what amps mean at that command is known
    only as well as flux and no-load current.

    Parameters: `compared`; `before` and `after`, load and speed of the hours it was made of; `curves`;
    `meter`. Returns: standard deviation of the log ratio [-]; 0 where the load is no current.
    Equation: by each principal axis of the covariance of the motor's parameters, the change of the saving.
    """
    if meter.is_electrical or curves.channels.load_kind is not LoadKind.CURRENT:
        return 0.0
    places = [INDEX[name] for name in _MOTOR]
    own = [place - _CURVE_FIRST for place in places]
    values, axes = np.linalg.eigh(curves.covariance[np.ix_(own, own)])
    plain = saving(compared.before, compared.after, compared.belief).fraction
    variance = 0.0
    for value, axis in zip(values, axes.T, strict=True):
        mean = curves.mean.copy()
        mean[places] += np.sqrt(max(value, 0.0)) * axis
        moved = replace(curves, mean=mean)
        pairs = (
            (compared.before, before, compared.is_used_before),
            (compared.after, after, compared.is_inside),
        )
        first, second = (
            _shifted(hours, shaft_kw(*read, moved, meter)[which], shaft_kw(*read, curves, meter)[which])
            for hours, read, which in pairs
        )
        other = saving(first, second, compared.belief).fraction
        variance += float(np.log1p(-other) - np.log1p(-plain)) ** 2
    return float(np.sqrt(variance))


def _shifted(hours: PeriodHours, moved: Floats, plain: Floats) -> PeriodHours:
    shift = np.nan_to_num(np.log(moved / plain))
    return replace(hours, log_power=hours.log_power + shift, noisy_log_power=hours.noisy_log_power + shift)
