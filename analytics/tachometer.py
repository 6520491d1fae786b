"""What does a tachometer or strobe reading of motor and wheel say of the level of slip?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.priors import HEALTHY_SLIP_PCT

# Further off than this the strobe stood on a harmonic, or the numbers were swapped.
LEAST_RATIO_MISS = -0.10
GREATEST_RATIO_MISS = 0.03
# From pitch diameters the ratio is known to this; a reading itself to a revolution or two in a thousand.
SHEAVE_RATIO_SD_PCT = 0.7
READING_SD_PCT = 0.15


@dataclass(frozen=True, slots=True)
class Pair:
    """One reading held against what was inferred that day.

    `slip_pct` the wheel's shortfall from the sheaves' ratio; `change_pct` and `change_sd_pct` the inferred
    slip above the healthy drive at that load; `load_ratio` torque over the reference torque.
    """

    slip_pct: float
    change_pct: float
    change_sd_pct: float
    load_ratio: float

    @property
    def inferred_pct(self) -> float:
        """The slip that was inferred that day, with the usual creep of a healthy belt."""
        return HEALTHY_SLIP_PCT[0] * self.load_ratio + self.change_pct


def slip_of_pair(motor_rpm: float, wheel_rpm: float, sheave_ratio: float) -> float | None:
    """Return the slip [%] that a pair shows, None where the pair is impossible.

    Parameters: speeds [rpm]; `sheave_ratio` motor over wheel pitch diameter.
    Equation: s = 1 - n_wheel / (n_motor d_motor / d_wheel).
    Validity: refused more than 10 % below or 3 % above the expected wheel speed.
    Source: speed ratio of a belt drive with slip, as in any machine-elements text.
    """
    if motor_rpm <= 0.0 or wheel_rpm <= 0.0 or sheave_ratio <= 0.0:
        return None
    miss = wheel_rpm / (motor_rpm * sheave_ratio) - 1.0
    if not LEAST_RATIO_MISS <= miss <= GREATEST_RATIO_MISS:
        return None
    return -100.0 * miss


def creep_from(pairs: Sequence[Pair]) -> tuple[float, float]:
    """Return the healthy belt's creep at the reference torque and its standard deviation [%].

    Without a pair the usual creep. The sheaves' ratio is off by one unknown amount for all pairs, so that
    a single pair moves the level little, and several mostly confirm the change between them.
    Equation: s_i = S t_i + change_i + r, with normal priors of the creep S and of the ratio's error r.
    """
    precision = np.diag([1.0 / HEALTHY_SLIP_PCT[1] ** 2, 1.0 / SHEAVE_RATIO_SD_PCT**2])
    pull = np.array([HEALTHY_SLIP_PCT[0] / HEALTHY_SLIP_PCT[1] ** 2, 0.0])
    for pair in pairs:
        slope = np.array([pair.load_ratio, 1.0])
        weight = 1.0 / (READING_SD_PCT**2 + pair.change_sd_pct**2)
        precision = precision + weight * np.outer(slope, slope)
        pull = pull + weight * slope * (pair.slip_pct - pair.change_pct)
    covariance = np.linalg.inv(precision)
    creep = covariance @ pull
    return max(float(creep[0]), 0.0), float(np.sqrt(covariance[0, 0]))
