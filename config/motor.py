"""What a motor's nameplate implies: its base frequency and its synchronous speed."""

import math
from typing import Final

from analytics.vocabulary import MotorType

_MAINS_HZ: Final = (
    60.0,
    50.0,
)  # the first wins a tie, as between 580 rpm at 60 Hz, 12 poles, and 50 Hz, 10 poles
_VOLTS_OF_50_HZ: Final = (220.0, 230.0, 240.0, 380.0, 400.0, 415.0, 690.0)
_VOLTS_OF_60_HZ: Final = (200.0, 208.0, 230.0, 240.0, 277.0, 460.0, 480.0, 575.0, 600.0)
LARGEST_RATED_SLIP: Final = (
    0.20  # beyond this no fan motor's nameplate fits; small single-phase ones reach 0.15
)


def synchronous_rpm(motor_rpm: float, motor_hz: float, motor_type: MotorType) -> float:
    """Return the speed without motor slip at base frequency: the nearest synchronous speed at or above."""
    if motor_type == MotorType.PERMANENT_MAGNET:
        return motor_rpm
    pole_pairs = max(1, math.floor(60.0 * motor_hz / motor_rpm))
    return 60.0 * motor_hz / pole_pairs


def rated_slip(motor_rpm: float, motor_hz: float, motor_type: MotorType) -> float:
    """Return the motor slip its nameplate implies, negative when it turns faster than the field can."""
    return 1.0 - motor_rpm / synchronous_rpm(motor_rpm, motor_hz, motor_type)


def base_frequency_hz(motor_rpm: float | None, motor_volts: float | None) -> float:
    """Return the one of 50 and 60 Hz that the nameplate fits: by rpm, else by a voltage of one of them."""
    by_volts = 60.0
    if motor_volts in _VOLTS_OF_50_HZ and motor_volts not in _VOLTS_OF_60_HZ:
        by_volts = 50.0
    if motor_rpm is None:
        return by_volts
    slips = {hz: rated_slip(motor_rpm, hz, MotorType.INDUCTION) for hz in _MAINS_HZ}
    fitting = {hz: slip for hz, slip in slips.items() if slip >= 0.0}
    if not fitting:
        return by_volts
    least = min(fitting.values())
    tied = [hz for hz, slip in fitting.items() if slip - least < 1e-9]
    return by_volts if by_volts in tied else tied[0]
