"""What does a tachometer or strobe reading of motor and wheel say of the level of slip?"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.machine import Machine
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.vocabulary import Drive

# Further off than this the strobe stood on a harmonic, or the numbers were swapped.
LEAST_RATIO_MISS: Final = -0.10
GREATEST_RATIO_MISS: Final = 0.03
# From pitch diameters the ratio is known to this; a reading itself to a revolution or two in a thousand.
SHEAVE_RATIO_SD_PCT: Final = 0.7
# Of a drive whose sheaves are not declared the ratio is whatever the first pair says.
UNKNOWN_RATIO_SD_PCT: Final = 20.0
READING_SD_PCT: Final = 0.15
# Whether the belt slipped already in the healthy period, and then how much: common practice, no source.
_SLIPPING_ALREADY: Final = 0.25
_SLIP_ALREADY_PCT: Final = (4.0, 3.0)


@dataclass(frozen=True, slots=True)
class Pair:
    """One reading held against what was inferred of its day.

    `slip_pct` the wheel's shortfall from the nominal ratio; `change_pct` and `change_sd_pct` the inferred
    slip above the healthy drive at that load, None where nothing was; `load_ratio` torque over the
    reference torque; `is_fresh` whether the belt had just been tensioned.
    """

    slip_pct: float
    change_pct: float | None
    change_sd_pct: float | None
    load_ratio: float
    is_fresh: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """What is known of the healthy period's slip at the reference torque and of the sheaves' ratio [%].

    `mean` (2,) and `covariance` (2, 2) of the slip and of the ratio's error.
    """

    mean: Floats
    covariance: Floats

    @property
    def slip_pct(self) -> float:
        """The healthy period's slip at the reference torque."""
        return max(float(self.mean[0]), 0.0)

    @property
    def slip_sd_pct(self) -> float:
        """Its standard deviation."""
        return float(np.sqrt(self.covariance[0, 0]))

    def shown(self, load_ratio: float) -> tuple[float, float]:
        """Return the slip [%] a pair would show of the healthy drive at a load, and its deviation."""
        slope = np.array([load_ratio, 1.0])
        return float(slope @ self.mean), float(np.sqrt(slope @ self.covariance @ slope))


def nominal_ratio(machine: Machine) -> float | None:
    """Return wheel turns a motor turn without slip, by the pitch diameters; None where they are not given."""
    if machine.drive is Drive.DIRECT:
        return 1.0
    if machine.motor_sheave_m is None or machine.wheel_sheave_m is None:
        return None
    return machine.motor_sheave_m / machine.wheel_sheave_m


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


def level_from(pairs: Sequence[Pair], ratio_sd_pct: float = SHEAVE_RATIO_SD_PCT) -> Level:
    """Return what some pairs say of the healthy period's slip and of the sheaves' ratio.

    Without a pair the usual creep of a healthy belt. The ratio is off by one unknown amount for all pairs:
    a single pair fixes slip as well as the ratio is known, several fix the change between them, and one on
    a freshly tensioned belt, whose creep is the usual one, gives the ratio itself. A belt that slipped in
    the healthy period already is half expected once somebody measures.

    Parameters: `pairs` in any order; `ratio_sd_pct` of the nominal ratio.
    Returns: `Level`; its slip is as sure as what the pairs and the usual creep say together.
    Equation: s_i = S t_i + c_i + r + e_i; on a fresh belt s_i = S' t_i + r + e_i with S' the usual creep;
    S a mixture of the usual creep and of a belt slipping already, r normal.
    """
    usual = HEALTHY_SLIP_PCT
    if not pairs:
        return Level(np.array([usual[0], 0.0]), np.diag([usual[1] ** 2, ratio_sd_pct**2]))
    parts = [_updated(prior, pairs, ratio_sd_pct) for prior in (usual, _SLIP_ALREADY_PCT)]
    chance = np.log([1.0 - _SLIPPING_ALREADY, _SLIPPING_ALREADY]) + [part[2] for part in parts]
    weight = np.exp(chance - np.max(chance))
    weight = weight / weight.sum()
    mean = weight[0] * parts[0][0] + weight[1] * parts[1][0]
    spread = [
        share * (covariance + np.outer(middle - mean, middle - mean))
        for share, (middle, covariance, _) in zip(weight, parts, strict=True)
    ]
    return Level(mean, spread[0] + spread[1])


def _updated(
    prior: tuple[float, float], pairs: Sequence[Pair], ratio_sd_pct: float
) -> tuple[Floats, Floats, float]:
    mean = np.array([prior[0], 0.0])
    covariance = np.diag([prior[1] ** 2, ratio_sd_pct**2])
    fit = 0.0
    for pair in pairs:
        slopes, values, noise = _readings(pair)
        spread = slopes @ covariance @ slopes.T + noise
        missed = values - slopes @ mean
        gain = np.linalg.solve(spread, slopes @ covariance).T
        fit += -0.5 * float(missed @ np.linalg.solve(spread, missed) + np.linalg.slogdet(spread)[1])
        mean = mean + gain @ missed
        covariance = covariance - gain @ slopes @ covariance
    return mean, 0.5 * (covariance + covariance.T), fit


def _readings(pair: Pair) -> tuple[Floats, Floats, Floats]:
    # By what was inferred, and on a fresh belt by its own usual creep; both share the reading's error.
    reading = READING_SD_PCT**2
    slopes, values, own = [], [], []
    if pair.change_pct is not None and pair.change_sd_pct is not None:
        slopes.append([pair.load_ratio, 1.0])
        values.append(pair.slip_pct - pair.change_pct)
        own.append(pair.change_sd_pct**2)
    if pair.is_fresh:
        slopes.append([0.0, 1.0])
        values.append(pair.slip_pct - HEALTHY_SLIP_PCT[0] * pair.load_ratio)
        own.append((HEALTHY_SLIP_PCT[1] * pair.load_ratio) ** 2)
    noise = np.full((len(own), len(own)), reading) + np.diag(own)
    return np.array(slopes).reshape(-1, 2), np.array(values), noise
