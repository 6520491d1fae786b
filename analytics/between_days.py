"""What becomes of what is known of a drive between one day read and the next?"""

import numpy as np

from analytics.arrays import Floats
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE, SLIP_ALONE, SLIP_LETTING_GO
from analytics.model import Parameter
from analytics.priors import (
    LETS_GO_FURTHER_A_DAY,
    LETTING_GO_SD,
    ORDINARY_MEMORY_DAYS,
    PINNED_SD,
    SETTLES_A_DAY,
    SLIP_STEEPNESS,
    STEEPNESS_MEMORY_DAYS,
)
from analytics.state import State, normalised
from analytics.watch import CARRIED, WIDTH, Watch

_SLIP = CARRIED.index(Parameter.SLIP)
_DENSITY = CARRIED.index(Parameter.DENSITY)
_STEEPNESS = CARRIED.index(Parameter.SLIP_STEEPNESS)
_ALL = np.arange(WIDTH)
# The first cause at work under each explanation, then the second: the explanations and their causes.
_AT_WORK = tuple(
    np.nonzero(IS_ACTIVE & (IS_ACTIVE.cumsum(axis=1) == turn + 1))
    for turn in range(IS_ACTIVE.sum(axis=1).max())
)


def predict(state: State, constants: Watch, elapsed_days: Floats) -> State:
    """Carry a batch of states over days without readings, or to the next day.

    Active causes walk, ordinary wander and the weather forget themselves, and any explanation may
    have begun.

    Parameters: `state`; `constants` of the fans; `elapsed_days` (fans,). Returns: the state then.
    """
    believed = constants.beliefs
    keep = np.ones((*state.mean.shape[:2], WIDTH))
    forgotten = np.exp(-elapsed_days / ORDINARY_MEMORY_DAYS)[:, None, None]
    # What work has just changed is no wander to be forgotten: every explanation learns it.
    is_active = IS_ACTIVE[None] | constants.is_learned[:, None]
    # A fault walks, but not without end: it is as large as faults of its kind are.
    kept = np.sqrt(np.maximum(1.0 - believed.daily / believed.fault, 0.0))
    # Not a power: NumPy squares where one exponent of 2 serves all, so that a fan alone got other bits.
    walked = np.exp(np.log(np.maximum(kept, 1e-300)) * elapsed_days[:, None])[:, None]
    keep[:, :, :CAUSE_COUNT] = np.where(is_active, walked, forgotten)
    keep[:, :, _DENSITY] = np.exp(-elapsed_days / constants.density_memory_days)[:, None]
    # No belt follows one law from its knee to letting go: what was learned of it ages.
    keep[:, :, _STEEPNESS] = np.exp(-elapsed_days / STEEPNESS_MEMORY_DAYS)[:, None]
    added = np.zeros_like(keep)
    added[:, :, _STEEPNESS] = SLIP_STEEPNESS[1] ** 2 * (1.0 - np.square(keep[:, :, _STEEPNESS]))
    walk = np.broadcast_to(believed.daily[:, None] * elapsed_days[:, None, None], is_active.shape).copy()
    can_slip = believed.daily[:, _SLIP] > (2.0 * PINNED_SD) ** 2
    walk[:, SLIP_LETTING_GO, _SLIP] = np.where(
        can_slip, LETTING_GO_SD**2 * elapsed_days, walk[:, SLIP_LETTING_GO, _SLIP]
    )
    wander = believed.ordinary[:, None] * (1.0 - np.square(forgotten))
    added[:, :, :CAUSE_COUNT] = np.where(is_active, walk, wander)
    density = np.square(constants.density_sd)[:, None]
    added[:, :, _DENSITY] = density * (1.0 - np.square(keep[:, :, _DENSITY]))
    state, alone = _settled(state)
    covariance = _kept(state.covariance, alone, keep)
    covariance[:, :, _ALL, _ALL] += added
    begun = believed.log_daily_onset + np.log(np.maximum(elapsed_days, 1e-3))[:, None]
    begun[:, 0] = believed.log_daily_onset[:, 1:].max(axis=1) + np.log(elapsed_days)
    mean = state.mean * keep
    mean[:, :, _STEEPNESS] += SLIP_STEEPNESS[0] * (1.0 - keep[:, :, _STEEPNESS])
    return State(mean, covariance, normalised(np.logaddexp(state.log_weight, begun)))


def _kept(carried: Floats, alone: Floats, keep: Floats) -> Floats:
    """Return the covariances of which each parameter is kept in part.

    Parameters: `carried` (fans, explanations, WIDTH, WIDTH), with `alone` (fans, WIDTH, WIDTH) in place of
    that of slip alone; `keep` (fans, explanations, WIDTH), under each that of the first but for its causes.
    """
    usual = keep[:, 0, :, None] * keep[:, 0, None, :]
    # One product a fan serves all its explanations, but for what is at work under each.
    covariance = carried * usual[:, None]
    covariance[:, SLIP_ALONE] = alone * usual
    for under, cause in _AT_WORK:
        own = carried[:, under, cause]
        own[:, under == SLIP_ALONE] = alone[:, cause[under == SLIP_ALONE]]
        own *= keep[:, under, cause, None] * keep[:, under]
        covariance[:, under, cause] = own
        covariance[:, under, :, cause] = np.swapaxes(own, 0, 1)
    return covariance


def _settled(state: State) -> tuple[State, Floats]:
    # A belt that has let go is soon one that slips as it slips: what was followed fast is kept, calmly.
    # The covariance of that explanation is returned beside the state, to save a copy of all the others.
    weight = np.exp(state.log_weight[:, [SLIP_ALONE, SLIP_LETTING_GO]])
    stays, further = weight[:, 0] * (1.0 - LETS_GO_FURTHER_A_DAY), weight[:, 0] * LETS_GO_FURTHER_A_DAY
    settles, goes_on = weight[:, 1] * SETTLES_A_DAY, weight[:, 1] * (1.0 - SETTLES_A_DAY)
    share = (settles / np.maximum(stays + settles, 1e-300))[:, None]
    first, second = state.mean[:, SLIP_ALONE], state.mean[:, SLIP_LETTING_GO]
    apart = second - first
    mean, log_weight = state.mean.copy(), state.log_weight.copy()
    mean[:, SLIP_ALONE] = first + share * apart
    alone = state.covariance[:, SLIP_ALONE]
    spread = (share * (1.0 - share))[:, :, None] * (apart[:, :, None] * apart[:, None, :])
    alone = alone + (share[:, :, None] * (state.covariance[:, SLIP_LETTING_GO] - alone) + spread)
    log_weight[:, SLIP_ALONE] = np.log(np.maximum(stays + settles, 1e-300))
    log_weight[:, SLIP_LETTING_GO] = np.log(np.maximum(goes_on + further, 1e-300))
    return State(mean, state.covariance, normalised(log_weight)), alone
