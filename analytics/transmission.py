"""How much of the motor's shaft power does a healthy drive hand to the wheel?

What these curves give is total loss, torque loss and speed loss together; none of it is slip alone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import WATTS_PER_HP, Floats, as_floats
from analytics.vocabulary import Drive

_V_BELT_CEILING: Final = 0.96
_V_BELT_HALF_POWER_W: Final = 1640.0
_V_BELT_EXPONENT: Final = 0.05

_SYNCHRONOUS_EFFICIENCY: Final = 0.98
_COGGED_GAIN: Final = 0.02
_WORST_HEALTHY_LOSS: Final = 0.5

# Each turn of the fixed point shrinks the error at least twelvefold, so this many reach the last bit.
_TURNS: Final = 15


class BeltLoss(StrEnum):
    """Where a belt lies in the published survey of measured losses."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


_SURVEY: Final = {
    BeltLoss.LOW: (-6.502e-2, 2.475e-2, -6.841e-3, 9.383e-4, -5.168e-5),
    BeltLoss.MEDIUM: (-9.504e-2, 3.415e-2, -8.897e-3, 1.159e-3, -6.132e-5),
    BeltLoss.HIGH: (-1.422e-1, 5.112e-2, -1.353e-2, 1.814e-3, -9.909e-5),
}
_SURVEY_RANGE_HP: Final = (0.5, 200.0)


@dataclass(frozen=True, slots=True)
class _PartLoad:
    """Below `knee` and above 1: a x / (b + x) + c x; between: a + b exp(c x)."""

    knee: float
    below: tuple[float, float, float]
    between: tuple[float, float, float]
    above: tuple[float, float, float]


_V_BELT_PART_LOAD: Final = _PartLoad(
    knee=0.167,
    below=(0.920797, 0.026269, 0.151594),
    between=(1.011965, -0.339038, -3.436260),
    above=(1.037778, 0.010307, -0.026815),
)
_SYNCHRONOUS_PART_LOAD: Final = _PartLoad(
    knee=0.137,
    below=(0.982167, 0.049135, 0.158164),
    between=(1.002134, -0.531885, -5.295707),
    above=(1.0, 0.0, 0.0),
)


@dataclass(frozen=True, slots=True)
class DriveLossBand:
    """Share of motor shaft power that an unknown healthy belt may lose at full load [-]."""

    low: Floats
    high: Floats


def belt_efficiency(wheel_power_w: ArrayLike) -> Floats:
    """Default efficiency of a V-belt drive at full load.

    The argument is fan shaft power, the belt's output. Fed with motor output it reads high by 0.003 at
    1 hp and by 0.0004 at 10 hp; `wheel_power_for` goes that way properly.

    Parameters: `wheel_power_w`, fan shaft power at full load, any shape [W].
    Returns: efficiency, 0 to 0.96 [-]; 0 for no or negative power.
    Equation: 0.96 (H / (H + 1.64))^0.05, H in kW.
    Validity: V-belt drives of 0.4 to 150 kW, sized and kept as usual.
    Source: ANSI/AMCA 207-17 as reproduced in Hong, Sun and Luo, "Fan Energy Index", LBNL 2018, equation 4.
    """
    power = np.maximum(as_floats(wheel_power_w), 0.0)
    return _V_BELT_CEILING * np.power(power / (power + _V_BELT_HALF_POWER_W), _V_BELT_EXPONENT)


def motor_power_for(wheel_power_w: ArrayLike) -> Floats:
    """Motor shaft power that a V-belt drive needs for a fan shaft power at full load.

    Parameters: `wheel_power_w`, any shape [W].
    Returns: motor shaft power [W]; 0 for no or negative power.
    Equation: H / belt_efficiency(H) = H^0.95 (H + 1.64)^0.05 / 0.96, H in kW, which is finite at 0.
    Validity and source: as for `belt_efficiency`.
    """
    power = np.maximum(as_floats(wheel_power_w), 0.0)
    with_floor = np.power(power + _V_BELT_HALF_POWER_W, _V_BELT_EXPONENT)
    return np.power(power, 1.0 - _V_BELT_EXPONENT) * with_floor / _V_BELT_CEILING


def wheel_power_for(motor_power_w: ArrayLike) -> Floats:
    """Fan shaft power that a V-belt drive makes of a motor shaft power at full load.

    Parameters: `motor_power_w`, any shape [W].
    Returns: fan shaft power [W]; 0 for no or negative power.
    Equation: H = P belt_efficiency(H), by fixed point: the efficiency's argument is the answer.
    Validity and source: as for `belt_efficiency`.
    """
    return _wheel_power(np.maximum(as_floats(motor_power_w), 0.0), belt_efficiency)


def surveyed_belt_efficiency(wheel_power_w: ArrayLike, belt_loss: BeltLoss) -> Floats:
    """Efficiency of measured belt drives at full load: the low, middle or high line of the survey.

    Parameters: `wheel_power_w`, fan shaft power at full load, any shape [W]; `belt_loss`, which line.
    Returns: efficiency [-].
    Equation: ln(efficiency) is a quartic in ln(fan shaft power in hp).
    Validity: 0.5 to 200 hp (0.37 to 149 kW); held at the ends outside.
    Source: AMCA 203-90, annex L, over 400 tests, as fitted in the engineering reference of the US
    Department of Energy's building simulation, air-system fans, table 68.
    """
    x = np.log(np.clip(as_floats(wheel_power_w) / WATTS_PER_HP, *_SURVEY_RANGE_HP))
    return np.exp(np.polynomial.polynomial.polyval(x, _SURVEY[belt_loss]))


def drive_loss_band(rated_power_w: ArrayLike) -> DriveLossBand:
    """Loss at full load between which a healthy belt of unknown make and care lies.

    Parameters: `rated_power_w` of the motor, any shape [W].
    Returns: `DriveLossBand`, shares of motor shaft power [-].
    Equation: 1 - surveyed_belt_efficiency, low and high lines, at the fan shaft power that the rated
    motor power becomes.
    Validity and source: as for `surveyed_belt_efficiency`.
    """
    rated = as_floats(rated_power_w)
    return DriveLossBand(low=_surveyed_loss(rated, BeltLoss.LOW), high=_surveyed_loss(rated, BeltLoss.HIGH))


def belt_part_load(torque_fraction: ArrayLike, drive: Drive) -> Floats:
    """Efficiency of a drive at part load over its efficiency at full load.

    Parameters: `torque_fraction` of the belt's torque capacity, any shape [-]; `drive`.
    Returns: ratio [-]; 0 at no torque, slightly above 1 near full load as the source has it, 1 for a
    direct drive.
    Equation: below a knee and above 1: a x / (b + x) + c x; between: a + b exp(c x).
    Validity: 0 to 1.5; the pieces meet within 0.001 (0.07 points at full load of a V-belt). Cogged and
    flat belts have no curve of their own and take the V-belt's.
    Source: Nadel et al., "Energy-Efficient Motor Systems", ACEEE 2002, as fitted in the engineering
    reference of the US Department of Energy's building simulation, air-system fans, table 69.
    """
    x = np.maximum(as_floats(torque_fraction), 0.0)
    if drive is Drive.DIRECT:
        return np.where(np.isnan(x), np.nan, 1.0)
    curve = _SYNCHRONOUS_PART_LOAD if drive is Drive.SYNCHRONOUS_BELT else _V_BELT_PART_LOAD
    a, b, c = curve.between
    middle = a + b * np.exp(c * x)
    return np.where(
        x < curve.knee,
        _saturating(x, curve.below),
        np.where(x > 1.0, _saturating(np.maximum(x, 1.0), curve.above), middle),
    )


def healthy_drive_loss(torque_fraction: ArrayLike, rated_power_w: ArrayLike, drive: Drive) -> Floats:
    """Share of motor shaft power that a healthy drive loses: total loss, never slip.

    The drive is taken to be sized for its motor, so that the full-load efficiency is that of the rated
    power and the motor's torque fraction is the belt's. No instantaneous power is asked for: at one
    torque a belt's efficiency hardly moves with speed.

    Parameters: `torque_fraction` of rated motor torque, any shape [-]; `rated_power_w` of the motor,
    broadcast against it [W]; `drive`.
    Returns: loss, 0 to 0.5 [-]; 0 for a direct drive.
    Equation: 1 - full_load_efficiency belt_part_load(torque_fraction), held within 0 and 0.5 (below 4 %
    of rated torque, where the published form tends to a loss of 1).
    Validity: as for `belt_efficiency` and `belt_part_load`.
    Source: full load: `belt_efficiency` at the fan shaft power that the rated motor power becomes; 2 points
    more for cogged belts, at most the 0.98 of synchronous ones (US Department of Energy, Motor Systems
    Tip Sheet 5). Departure: a flat belt, for which no curve was found, is taken as a V-belt.
    """
    return part_load_loss(torque_fraction, full_load_efficiency(rated_power_w, drive), drive)


def part_load_loss(torque_fraction: ArrayLike, full_load: ArrayLike, drive: Drive) -> Floats:
    """Share of motor shaft power that a healthy drive of a known efficiency at full load loses.

    Parameters: as for `healthy_drive_loss`, `full_load` its `full_load_efficiency`.
    Returns, equation, validity and source: as for `healthy_drive_loss`.
    """
    if drive is Drive.DIRECT:
        return np.where(np.isnan(as_floats(torque_fraction) + as_floats(full_load)), np.nan, 0.0)
    efficiency = as_floats(full_load) * belt_part_load(torque_fraction, drive)
    return np.clip(1.0 - efficiency, 0.0, _WORST_HEALTHY_LOSS)


def full_load_efficiency(rated_power_w: ArrayLike, drive: Drive) -> Floats:
    """Efficiency of a healthy drive at full load, sized for its motor.

    Parameters: `rated_power_w` of the motor, any shape [W]; `drive`. Returns: efficiency [-]; 1 for a direct
    drive. Equation, validity and source: as for `healthy_drive_loss`.
    """
    rated = as_floats(rated_power_w)
    if drive is Drive.DIRECT:
        return np.where(np.isnan(rated), np.nan, 1.0)
    v_belt = belt_efficiency(wheel_power_for(rated))
    if drive is Drive.SYNCHRONOUS_BELT:
        return np.where(np.isnan(v_belt), np.nan, _SYNCHRONOUS_EFFICIENCY)
    if drive is Drive.COGGED_BELT:
        return np.minimum(v_belt + _COGGED_GAIN, _SYNCHRONOUS_EFFICIENCY)
    return v_belt


def _surveyed_loss(rated_power_w: Floats, belt_loss: BeltLoss) -> Floats:
    def efficiency(wheel_power_w: Floats) -> Floats:
        return surveyed_belt_efficiency(wheel_power_w, belt_loss)

    return 1.0 - efficiency(_wheel_power(rated_power_w, efficiency))


def _wheel_power(motor_power_w: Floats, efficiency: Callable[[Floats], Floats]) -> Floats:
    wheel_power = motor_power_w
    for _ in range(_TURNS):
        wheel_power = motor_power_w * efficiency(wheel_power)
    return wheel_power


def _saturating(x: Floats, coefficients: tuple[float, float, float]) -> Floats:
    a, b, c = coefficients
    return a * x / (b + x) + c * x
