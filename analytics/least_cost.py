"""Where is a cost least, within bounds, when several searches for it run side by side?"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.arrays import Bools, Floats

_FIRST_RADIUS = 1.0
# A step is taken for this share of what it promised, trusted further or less by these.
_LEAST_GAIN, _POOR_GAIN, _GOOD_GAIN = 1e-3, 0.25, 0.75
# Below this radius a cost falls by no more than its own rounding.
_LEAST_RADIUS = 1e-10
_MOST_TRIALS = 300
# How near to the radius a held step ends, and how many steps of Newton's that may take.
_NEAR_RADIUS = 0.1
_RADIUS_ROUNDS = 20


@dataclass(frozen=True, slots=True)
class Costs:
    """What some searches find at a place each.

    `cost` (searches,); its `slope` (searches, values) and `curvature` (searches, values, values), positive
    definite: of a sum of squares, the product of the residuals' own slopes.
    """

    cost: Floats
    slope: Floats
    curvature: Floats


@dataclass(frozen=True, slots=True)
class Least:
    """Where searches ended: `place` (searches, values), `cost` (searches,), whether each `is_settled`."""

    place: Floats
    cost: Floats
    is_settled: Bools


Evaluate = Callable[[Floats, npt.NDArray[np.intp]], Costs]


def least_cost(evaluate: Evaluate, start: Floats, bounds: tuple[Floats, Floats], tolerance: float) -> Least:
    """Search for the least of a cost from several starts.

    A step minimises the quadratic that cost, slope and curvature make, no longer than a radius that grows and
    shrinks by how well the quadratic foretold the cost; values at a bound that press on it are held there. A
    search is settled only where the whole step, however short its radius, would gain no more than
    `tolerance` of the cost; short steps alone end none.

    Parameters: `evaluate` gives the costs at places (some, values) of the searches numbered (some,); `start`
    (searches, values), scaled so that a step of 1 is a moderate one; `bounds` (values,) each; `tolerance`.
    Returns: `Least`; a search that is not settled ended where no step gains any more, or ran out of trials.
    Equation: min g'd + d'Hd / 2 over |d| <= radius, d = -(H + l)^-1 g with the least l >= 0 that fits.
    Validity: a cost that is finite and smooth near its least; where it is not finite no step is taken.
    Source: trust-region methods as in any text on optimisation (Levenberg, Marquardt, More); checked against
    the certified values of NIST's nonlinear regression data.
    """
    lower, upper = bounds
    place = np.clip(start, lower, upper)
    count, size = place.shape
    live = np.arange(count)
    found = evaluate(place, live)
    cost, slope, curvature = found.cost.copy(), found.slope.copy(), found.curvature.copy()
    radius, is_settled = np.full(count, _FIRST_RADIUS), np.zeros(count, dtype=bool)
    for _ in range(_MOST_TRIALS):
        at, g = place[live], slope[live]
        held = ((at <= lower) & (g > 0.0)) | ((at >= upper) & (g < 0.0))
        g = np.where(held, 0.0, g)
        h = np.where(held[:, :, None] | held[:, None, :], np.eye(size), curvature[live])
        values, vectors = np.linalg.eigh(h)
        along = _times(vectors.swapaxes(1, 2), g)
        is_settled[live] = 0.5 * (np.square(along) / values).sum(-1) <= tolerance * cost[live]
        going = ~is_settled[live] & (radius[live] > _LEAST_RADIUS)
        if not going.any():
            break
        live, at, g, h = live[going], at[going], g[going], h[going]
        wanted = _within(along[going], values[going], radius[live])
        trial = np.clip(at - _times(vectors[going], wanted), lower, upper)
        step = trial - at
        promised = -(step * (g + 0.5 * _times(h, step))).sum(-1)
        found = evaluate(trial, live)
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = np.where(promised > 0.0, (cost[live] - found.cost) / promised, -1.0)
        radius[live] = _next_radius(radius[live], np.sqrt(np.square(step).sum(-1)), gain)
        is_better = gain > _LEAST_GAIN
        taken = live[is_better]
        place[taken], cost[taken] = trial[is_better], found.cost[is_better]
        slope[taken], curvature[taken] = found.slope[is_better], found.curvature[is_better]
    return Least(place, cost, is_settled)


def _within(along: Floats, values: Floats, radius: Floats) -> Floats:
    # In the curvature's own axes; its length falls and bends upwards as more is added to the curvature, so
    # that Newton's steps on its inverse come to the radius from one side.
    added = np.zeros((len(radius), 1))
    for _ in range(_RADIUS_ROUNDS):
        step = along / (values + added)
        length = np.sqrt(np.square(step).sum(-1))
        is_long = length > (1.0 + _NEAR_RADIUS) * radius
        if not is_long.any():
            break
        fall = (np.square(step) / (values + added)).sum(-1)
        further = np.square(length) / fall * (length / radius - 1.0)
        added[is_long, 0] += further[is_long]
    return np.asarray(step)


def _next_radius(radius: Floats, length: Floats, gain: Floats) -> Floats:
    # A gain that is no number is none.
    is_poor, is_good = ~(gain >= _POOR_GAIN), gain > _GOOD_GAIN
    shorter = np.where(gain > _LEAST_GAIN, 0.5, 0.25) * length
    return np.where(is_poor, shorter, np.where(is_good, np.maximum(radius, 2.0 * length), radius))


def _times(matrices: Floats, vectors: Floats) -> Floats:
    return np.asarray((matrices @ vectors[..., None])[..., 0])
