"""Where is a sum of squares least, within bounds: several searches of one kind side by side."""

from collections.abc import Callable

import numpy as np

from analytics.arrays import Bools, Floats

_FIRST_DAMPING = 1e-3
_LEAST_DAMPING = 1e-9
_MOST_DAMPING = 1e9
_CHANGED = 10.0
_WELL_FORETOLD = 0.25
_EASED_AT = 0.75

# Misses (searches, rows) and their slopes (searches, rows, values) of some searches at their values.
Missed = Callable[[Floats, Bools], tuple[Floats, Floats]]


def least_squares(
    missed: Missed, start: Floats, lower: Floats, upper: Floats, *, tolerance: float, most_steps: int
) -> tuple[Floats, Floats]:
    """Return the values of least cost and half the sum of squares there.

    Parameters: `missed`, given values (some, values) and which (searches,) they are of, returns misses and
    slopes; `start` (searches, values); `lower`, `upper` (values,) bounds; `tolerance`, the share of the cost
    that a step must save for another one to follow; `most_steps`.
    Returns: values (searches, values), costs (searches,).
    Equation: (J'J + d diag(J'J)) step = -J'r over the values that no bound holds, d by the step before it.
    Validity: smooth misses; the nearest valley is found, not the deepest.
    Source: Levenberg and Marquardt, as in Nocedal and Wright, Numerical Optimization, chapter 10.
    """
    values = np.clip(start, lower, upper)
    is_under_way = np.ones(len(values), dtype=bool)
    damping = np.full(len(values), _FIRST_DAMPING)
    miss, slopes = missed(values, is_under_way)
    cost = 0.5 * np.square(miss).sum(axis=1)
    for _ in range(most_steps):
        at = np.flatnonzero(is_under_way)
        step, foretold = _step(values[at], miss[at], slopes[at], damping[at], lower, upper)
        trial = values[at] + step
        tried, tried_slopes = missed(trial, is_under_way)
        costs = 0.5 * np.square(tried).sum(axis=1)
        saved = cost[at] - costs
        is_better = saved > 0.0
        good = at[is_better]
        values[good], cost[good] = trial[is_better], costs[is_better]
        miss[good], slopes[good] = tried[is_better], tried_slopes[is_better]
        share = saved / np.maximum(foretold, 1e-300)
        eased = np.where(share > _EASED_AT, 1.0 / _CHANGED, 1.0)
        damping[at] *= np.where(share < _WELL_FORETOLD, _CHANGED, eased)
        damping = np.maximum(damping, _LEAST_DAMPING)
        is_level = foretold < tolerance * (cost[at] + 1e-300)
        is_done = is_level | (is_better & (saved < tolerance * cost[at])) | (damping[at] > _MOST_DAMPING)
        is_under_way[at[is_done]] = False
        if not is_under_way.any():
            break
    return values, cost


def _step(
    values: Floats, miss: Floats, slopes: Floats, damping: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats]:
    """Return each search's next step, and by how much it lowers the cost if misses were straight."""
    transposed = np.swapaxes(slopes, 1, 2)
    pull = (transposed @ miss[..., None])[..., 0]
    square = transposed @ slopes
    is_held = ((values <= lower) & (pull > 0.0)) | ((values >= upper) & (pull < 0.0))
    is_free = ~is_held
    pull = np.where(is_free, pull, 0.0)
    square = np.where(is_free[:, :, None] & is_free[:, None, :], square, 0.0)
    size = np.einsum("bii->bi", square)
    damped = square + np.eye(values.shape[1]) * (damping[:, None] * size + is_held + 1e-300)[:, None, :]
    step = np.linalg.solve(damped, -pull[..., None])[..., 0]
    step = np.clip(values + step, lower, upper) - values
    bent = (step[:, None, :] @ square @ step[..., None])[:, 0, 0]
    return step, -(pull * step).sum(axis=1) - 0.5 * bent
