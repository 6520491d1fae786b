"""What do competing explanations say together: means, spreads and central intervals of mixtures."""

import numpy as np
from scipy.special import ndtr, ndtri

from analytics.arrays import Floats
from analytics.explanations import EXPLANATIONS, IS_ACTIVE, Beliefs
from analytics.marginals import Marginals
from analytics.model import CAUSES, LoadKind, Parameter, Plant
from analytics.state import State

# Drag comes five times as often as a current reading goes wrong.
RIVAL_SHARE = 0.15
# Of the evidence and of how rare a cause is, the share that counts in an interval; and in a verdict, where
# what stays with a fan is counted by itself (`look_alikes`).
OPEN_SHARE = 0.4
VERDICT_SHARE = 0.45
_CLOSE = 1e-10
_SURE = (1e-300, 1.0 - 1e-15)
_LEAST_STEEP = 1e-300
_LOAD_GAIN = CAUSES.index(Parameter.LOAD_GAIN)
_ALIKE_IN_AMPS = tuple(
    (EXPLANATIONS.index((*beside, Parameter.DRAG)), EXPLANATIONS.index((*beside, Parameter.LOAD_GAIN)))
    for beside in ((), (Parameter.SLIP,))
)


def held_weights(state: State | Marginals, believed: Beliefs) -> Floats:
    """Return the explanations' probabilities, given that one-sided causes are not below zero.

    Parameters: `state`; `believed`. Returns: (fans, explanations), summing to 1.
    Equation: each weight times twice the share of its cause's normal above zero.
    """
    deviation = np.sqrt(np.maximum(state.variance, 1e-18))
    count = len(CAUSES)
    above = np.maximum(2.0 * ndtr(state.mean[..., :count] / deviation[..., :count]), 1e-9)
    is_held = IS_ACTIVE[None] & (believed.is_one_sided[:, None] > 0)
    weight = state.weight * np.where(is_held, above, 1.0).prod(axis=-1)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def told_weights(weight: Floats, state: State | Marginals, plant: Plant) -> Floats:
    """Return the explanations' probabilities with what a fan's readings cannot tell apart left open.

    With amps alone a current reading that has risen has the shape of drag to within what is known of a
    motor's flux and magnetising current, so that neither takes all of the belief from the other.

    Parameters: `weight` (fans, explanations); `state`; `plant`. Returns: (fans, explanations).
    """
    told = weight.copy()
    is_amps = plant.load_kind == LoadKind.CURRENT
    for first, second in _ALIKE_IN_AMPS:
        has_risen = state.mean[:, second, _LOAD_GAIN] > 0.0
        total = told[:, first] + told[:, second]
        share = np.clip(told[:, first] / np.maximum(total, 1e-300), RIVAL_SHARE, 1.0 - RIVAL_SHARE)
        is_open = is_amps & has_risen
        told[:, first] = np.where(is_open, share * total, told[:, first])
        told[:, second] = np.where(is_open, (1.0 - share) * total, told[:, second])
    return told


def open_weights(weight: Floats, share: float = OPEN_SHARE) -> Floats:
    """Return the weights with which explanations enter an interval, and causes a verdict: none leaves early.

    A centre weighs what is likely. An interval must hold a fault that is there, however rare such faults
    are, until its readings exclude it; and days in a row repeat each other, since the curves' errors stay
    with their fan, so that the filter excludes too soon.

    Parameters: `weight` (fans, explanations or causes); `share` of what they say. Returns: the same, flatter,
    summing to 1.
    Equation: w^share over its sum.
    """
    flat = np.power(np.maximum(weight, 1e-300), share)
    return np.asarray(flat / flat.sum(axis=1, keepdims=True))


def bounds(weight: Floats, mean: Floats, deviation: Floats, share: float = 0.95) -> tuple[Floats, Floats]:
    """Return the central interval of a mixture of normals.

    Parameters: arrays (fans, parts); `share` of the probability inside. Returns: low and high (fans,).
    Halley's steps on the normal score of the mixture's distribution, which is straight for one normal;
    halving where one leaves what is known to hold the bound; to a billionth of the widest span.
    """
    outside = 0.5 * (1.0 - share)
    # Row by row in memory, so that a fan's sum runs in one order alone and in a batch.
    weight, mean, spread = (
        np.concatenate([part, part]) for part in (weight, mean, np.maximum(deviation, 1e-12))
    )
    found = _quantiles(weight, mean, spread, np.repeat([outside, 1.0 - outside], len(weight) // 2))
    return found[: len(found) // 2], found[len(found) // 2 :]


def _quantiles(weight: Floats, mean: Floats, spread: Floats, target: Floats) -> Floats:
    low, high = (mean - 8.0 * spread).min(axis=1), (mean + 8.0 * spread).max(axis=1)
    closeness = _CLOSE * (high - low)
    middle = (weight * mean).sum(axis=1)
    variance = (weight * (np.square(spread) + np.square(mean - middle[:, None]))).sum(axis=1)
    score = ndtri(target)
    at = np.asarray(np.clip(middle + score * np.sqrt(variance), low, high), dtype=np.float64)
    found: Floats = at.copy()
    open_rows = np.arange(len(at))
    step = high - low
    while len(open_rows):
        away = (at[:, None] - mean) / spread
        below = (weight * ndtr(away)).sum(axis=1)
        dense = weight * np.exp(-0.5 * np.square(away)) / spread
        steep, bent = dense.sum(axis=1), (dense * away / spread).sum(axis=1)
        is_short = below < target
        low, high = np.where(is_short, at, low), np.where(is_short, high, at)
        reached = ndtri(np.clip(below, *_SURE))
        height = np.exp(-0.5 * np.square(reached))
        # Of the score: how far it is off, its slope and its bend, all by the height of its own normal.
        missed = (reached - score) * height
        bend = reached * np.square(steep) / height - bent
        halfway = steep - 0.5 * missed * bend / np.maximum(steep, _LEAST_STEEP)
        slope = np.clip(halfway, 0.5 * steep, 2.0 * steep)
        # Where the step would not be half of the one before, what holds the bound is halved.
        is_fast = 2.0 * np.abs(missed) < np.abs(step) * slope
        newton = at - missed / np.where(is_fast, slope, 1.0)
        is_inside = is_fast & (newton >= low) & (newton <= high)
        moved = np.where(is_inside, newton, 0.5 * (low + high))
        step = moved - at
        found[open_rows] = moved
        is_open = (np.abs(step) > closeness) & (high - low > closeness)
        at = moved
        if is_open.all():
            continue
        # A fan's steps end by its own closeness, alone and in a batch.
        open_rows, at, low, high, step, closeness, score, target = (
            part[is_open] for part in (open_rows, at, low, high, step, closeness, score, target)
        )
        weight, mean, spread = (part[is_open] for part in (weight, mean, spread))
    return found
