"""What does a tachometer pair say of the causes, and how does it compare with what was inferred?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.day_misfit import JUMP_DEVIATIONS
from analytics.day_reading import DayReading
from analytics.explanations import IS_ACTIVE
from analytics.mixtures import bounds, held_weights
from analytics.model import CAUSES, Operating, Parameter
from analytics.slip_law import STEEPNESS_RANGE, slip_above_creep
from analytics.state import LEAST_WEIGHT, State
from analytics.tachometer import READING_SD_PCT, SHEAVE_RATIO_SD_PCT, Level, Pair, level_from
from analytics.watch import CARRIED, Watch

_SLIP, _RATIO = CAUSES.index(Parameter.SLIP), CAUSES.index(Parameter.RATIO)
_STEEPNESS: Final = CARRIED.index(Parameter.SLIP_STEEPNESS)
_SLIP_STEP, _STEEPNESS_STEP = 1e-4, 1e-3
# A pair moves the causes and how slip follows torque; the curves stay as learned.
_MOVED: Final = _STEEPNESS + 1


@dataclass(frozen=True, slots=True)
class PairTaken:
    """A pair that a day is told of.

    `slip_pct` the wheel's shortfall from the nominal ratio; `hour` its place among the day's hours, None
    where the day's mean load must do; `is_fresh` on a belt just tensioned; `is_of_new_sheaves` where the
    nominal ratio is no longer the healthy period's.
    """

    slip_pct: float
    hour: int | None = None
    is_fresh: bool = False
    is_of_new_sheaves: bool = False


@dataclass(frozen=True, slots=True)
class Compared:
    """A pair beside what was inferred before it: the central 95 % of slip at its load, per cent.

    `is_taught` where the level rests on it from now on: not where it contradicts an earlier pair, which
    then moves the change alone.
    """

    pair: Pair
    inferred_pct: float
    inferred_low_pct: float
    inferred_high_pct: float
    is_taught: bool


def take_pair(
    state: State,
    constants: Watch,
    hours: Operating,
    reading: DayReading,
    taken: PairTaken,
    before: Sequence[Pair],
    ratio_sd_pct: float = SHEAVE_RATIO_SD_PCT,
) -> tuple[State, Compared]:
    """Hold a pair against one fan's state after its day, and teach the state what the pair says.

    Under each explanation the pair is a reading of slip less the change of ratio, as sure as the level
    before it. Where it lies four deviations from all of them, slip is opened first, as for a day that does
    not fit. Only causes and the slip law's steepness move.

    Parameters: `state`, `constants`, `hours`, `reading` of a batch of one; `taken`; `before`, the earlier
    pairs that taught the level; `ratio_sd_pct` of the nominal ratio.
    Returns: the state after it, and the comparison.
    Equation: s = S t + s(t) - ln r + ratio's error + e, t the torque over the reference torque.
    """
    load_ratio = _load_ratio(hours, reading, taken.hour)
    at_load = _at_load(state, load_ratio, is_of_new_sheaves=taken.is_of_new_sheaves)
    level = level_from(before, ratio_sd_pct)
    shown, shown_sd = (0.01 * value for value in level.shown(load_ratio))
    noise = shown_sd**2 + (0.01 * READING_SD_PCT) ** 2
    compared = _compared(state, constants, at_load, level, load_ratio, taken)
    after, is_far = _learned(state, constants, at_load, 0.01 * taken.slip_pct - shown, noise)
    return after, replace(compared, is_taught=taken.is_fresh or not before or not is_far)


@dataclass(frozen=True, slots=True)
class _AtLoad:
    """Slip above the healthy creep at a pair's load, and what each cause does to what the pair shows.

    `slip` (explanations,); `slopes` (explanations, moved parameters).
    """

    slip: Floats
    slopes: Floats


def _at_load(state: State, load_ratio: float, *, is_of_new_sheaves: bool) -> _AtLoad:
    load = np.array(load_ratio)
    slip, steepness = state.mean[0, :, _SLIP], state.mean[0, :, _STEEPNESS]
    here, _ = slip_above_creep(load, slip, steepness)
    more, _ = slip_above_creep(load, slip + _SLIP_STEP, steepness)
    steeper, _ = slip_above_creep(load, slip, steepness + _STEEPNESS_STEP)
    slopes = np.zeros((len(slip), _MOVED))
    slopes[:, _SLIP] = (more - here) / _SLIP_STEP
    # What a pair at another load than the reference says of slip, it says of its law too.
    slopes[:, _STEEPNESS] = (steeper - here) / _STEEPNESS_STEP
    slopes[:, _RATIO] = 0.0 if is_of_new_sheaves else -1.0
    return _AtLoad(here, slopes)


def _load_ratio(hours: Operating, reading: DayReading, hour: int | None) -> float:
    is_used = hours.is_used[0]
    if hour is not None and hour < len(is_used) and is_used[hour]:
        return float(reading.load_ratio[0, hour])
    power = np.where(is_used, reading.torque[0] * reading.motor_speed[0], 0.0)
    return float((power * reading.load_ratio[0]).sum() / max(float(power.sum()), 1e-9))


def _compared(
    state: State, constants: Watch, at_load: _AtLoad, level: Level, load_ratio: float, taken: PairTaken
) -> Compared:
    weight = held_weights(state, constants.beliefs)
    mean = state.mean[..., :_MOVED]
    covariance = state.covariance[..., :_MOVED, :_MOVED]
    change = _change(at_load, mean)
    change_var = np.einsum("ec,xecd,ed->xe", at_load.slopes, covariance, at_load.slopes)
    centre = float((weight * change).sum())
    variance = float((weight * (change_var + np.square(change - centre))).sum())
    slip = at_load.slip[None]
    creep, creep_sd = 0.01 * level.slip_pct * load_ratio, 0.01 * level.slip_sd_pct * load_ratio
    deviation = np.sqrt(change_var + creep_sd**2)
    low, high = bounds(weight, slip + creep, deviation)
    pair = Pair(taken.slip_pct, 100.0 * centre, 100.0 * float(np.sqrt(variance)), load_ratio, taken.is_fresh)
    inferred = 100.0 * (float((weight * slip).sum()) + creep)
    return Compared(
        pair, max(inferred, 0.0), max(100.0 * float(low[0]), 0.0), max(100.0 * float(high[0]), 0.0), True
    )


def _change(at_load: _AtLoad, mean: Floats) -> Floats:
    return np.asarray(at_load.slip + at_load.slopes[:, _RATIO] * mean[..., _RATIO])


def _learned(
    state: State, constants: Watch, at_load: _AtLoad, seen: float, noise: float
) -> tuple[State, bool]:
    slopes = at_load.slopes
    mean, covariance = state.mean[0].copy(), state.covariance[0].copy()
    missed = seen - _change(at_load, mean[:, :_MOVED])
    along = np.einsum("ewc,ec->ew", covariance[:, :, :_MOVED], slopes)
    spread = np.einsum("ew,ew->e", along[:, :_MOVED], slopes) + noise
    is_far = bool((np.square(missed) > JUMP_DEVIATIONS**2 * spread).all())
    if is_far:
        covariance[:, _SLIP, _SLIP] += np.where(IS_ACTIVE[:, _SLIP], constants.beliefs.fault[0, _SLIP], 0.0)
        along = np.einsum("ewc,ec->ew", covariance[:, :, :_MOVED], slopes)
        spread = np.einsum("ew,ew->e", along[:, :_MOVED], slopes) + noise
    gain = along / spread[:, None]
    gain[:, _MOVED:] = 0.0
    # Not all that could move does, so that the short form of the covariance would not do.
    shared = gain[:, :, None] * along[:, None, :]
    covariance += gain[:, :, None] * gain[:, None, :] * spread[:, None, None]
    covariance -= shared + np.swapaxes(shared, 1, 2)
    mean += gain * missed[:, None]
    mean[:, _STEEPNESS] = np.clip(mean[:, _STEEPNESS], *STEEPNESS_RANGE)
    fit = state.log_weight[0] - 0.5 * (np.square(missed) / spread + np.log(spread))
    held = np.maximum(np.exp(fit - fit.max()), LEAST_WEIGHT)
    log_weight = np.log(held / held.sum())
    return State(mean[None], covariance[None], log_weight[None]), is_far
