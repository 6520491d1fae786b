"""What do competing explanations say together: means, spreads and central intervals of mixtures."""

import numpy as np
from scipy.special import ndtr

from analytics.arrays import Floats
from analytics.explanations import IS_ACTIVE, Beliefs
from analytics.model import CAUSES, Parameter
from analytics.state import State

_HALVINGS = 34


def held_weights(state: State, believed: Beliefs) -> Floats:
    """Return the explanations' probabilities, given that one-sided causes are not below zero.

    Parameters: `state`; `believed`. Returns: (fans, explanations), summing to 1.
    Equation: each weight times twice the share of its cause's normal above zero.
    """
    deviation = np.sqrt(np.maximum(np.diagonal(state.covariance, axis1=2, axis2=3), 1e-18))
    count = len(CAUSES)
    above = np.maximum(2.0 * ndtr(state.mean[..., :count] / deviation[..., :count]), 1e-9)
    is_held = IS_ACTIVE[None] & (believed.is_one_sided[:, None] > 0)
    weight = state.weight * np.where(is_held, above, 1.0).prod(axis=-1)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def moments(state: State, cause: Parameter) -> tuple[Floats, Floats]:
    """Return mean and standard deviation (fans, explanations) of one cause under each explanation."""
    index = CAUSES.index(cause)
    return state.mean[..., index], np.sqrt(np.maximum(state.covariance[..., index, index], 0.0))


def bounds(weight: Floats, mean: Floats, deviation: Floats, share: float = 0.95) -> tuple[Floats, Floats]:
    """Return the central interval of a mixture of normals.

    Parameters: arrays (fans, parts); `share` of the probability inside. Returns: low and high (fans,).
    Bisection to a billionth of the widest span.
    """
    # Row by row in memory, so that a fan's sum runs in one order alone and in a batch.
    weight, mean = np.ascontiguousarray(weight), np.ascontiguousarray(mean)
    spread = np.ascontiguousarray(np.maximum(deviation, 1e-12))
    found = []
    for target in (0.5 * (1.0 - share), 0.5 * (1.0 + share)):
        low, high = (mean - 8.0 * spread).min(axis=1), (mean + 8.0 * spread).max(axis=1)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            below = (weight * ndtr((middle[:, None] - mean) / spread)).sum(axis=1)
            is_short = below < target
            low, high = np.where(is_short, middle, low), np.where(is_short, high, middle)
        found.append(0.5 * (low + high))
    return found[0], found[1]
