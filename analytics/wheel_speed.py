"""What does a point on the wheel itself say: the speed ratio of wheel and motor, measured."""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats
from analytics.model import INDEX, Expected, Operating, Parameter, Plant
from analytics.slopes import wheel_slopes_at

# Pulses are counted to a few parts in ten thousand. Without the motor's own speed its slip is the
# nameplate's, warm and cold: a tenth of two or three per cent (common practice, no source).
DAY_SD_WITH_MOTOR_SPEED = 0.0007
DAY_SD_BY_NAMEPLATE = 0.002
_LEAST_RATIO = 0.05


@dataclass(frozen=True, slots=True)
class DayWheel:
    """A day's mean log of wheel speed over the motor's said speed, and its deviation; shape (fans,).

    Over what it is when the drive neither slips nor creeps; NaN where no point tells it.
    """

    log_ratio: Floats
    sd: Floats


NO_WHEEL = DayWheel(np.array([np.nan]), np.array([np.nan]))


def stack_wheels(wheels: list[DayWheel]) -> DayWheel:
    """Join single fans' days into a batch."""
    return DayWheel(*(np.concatenate([getattr(w, name) for w in wheels]) for name in DayWheel.__slots__))


def log_wheel_ratio(theta: Floats, expected: Expected, hours: Operating) -> Floats:
    """Return the log of wheel speed over the motor's said speed, less that of the sheaves, hour by hour.

    Parameters: `theta` (..., fans, SIZE); `expected` of it; `hours` (fans, hours).
    Returns: (..., fans, hours).
    Equation: ln(n_motor / n_said) + ln r + ln(1 - C T/T_ref - D (T/T_ref)^beta).
    """
    ratio = theta[..., INDEX[Parameter.RATIO], None]
    creep = theta[..., INDEX[Parameter.CREEP], None] * expected.load_ratio
    kept = np.maximum(1.0 - creep - expected.slip, _LEAST_RATIO)
    return np.asarray(np.log(expected.motor_speed / hours.speed) + ratio + np.log(kept))


def wheel_information(
    theta: Floats, plant: Plant, hours: Operating, wheel: DayWheel, which: tuple[Parameter, ...]
) -> tuple[Floats, Floats]:
    """Return what a day's wheel speed says of the parameters near `theta`.

    Parameters: `theta` (fans, SIZE); `plant`; `hours` (fans, hours); `wheel` of the day; `which`
    parameters. Returns: information (fans, which, which) and pull (fans, which), zero without a reading.
    """
    number = np.maximum(hours.is_used.sum(axis=1), 1)
    expected, slopes = wheel_slopes_at(theta, plant, hours, which)
    hourly = np.where(hours.is_used, log_wheel_ratio(theta, expected, hours), 0.0)
    mean = hourly.sum(axis=-1) / number
    by_hour = np.where(hours.is_used[..., None], slopes, 0.0)
    slope = by_hour.sum(axis=1) / number[:, None]
    is_read = ~np.isnan(wheel.log_ratio) & hours.is_used.any(axis=1)
    precision = np.where(is_read, 1.0 / np.square(np.where(is_read, wheel.sd, 1.0)), 0.0)
    missed = np.where(is_read, wheel.log_ratio - mean, 0.0)
    information = precision[:, None, None] * slope[:, :, None] * slope[:, None, :]
    return information, (precision * missed)[:, None] * slope
