"""Which causes would move a fan's readings alike, to within what its curves are ever off?

Days average their own errors away, but not those that stay with the fan: curves fitted a little too steep, a
lasting offset, a sensor's ordinary wander. What the filter counts against an explanation day after day may be
one such error counted again. So no cause is ruled out further than it could be by a month of days whose
lasting errors are only known by their size.
"""

import numpy as np

from analytics.arrays import Floats
from analytics.day_reading import DayReading
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE
from analytics.marginals import Marginals
from analytics.model import CAUSES, Parameter
from analytics.state import State
from analytics.watch import CARRIED, WIDTH, Watch

# So many days like the one told are as good as any number: what is left is what lasts.
DAYS_TOGETHER = 30.0
_WHEEL = CAUSES.index(Parameter.WHEEL)
_WHEEL_TORQUE, _TORQUE_LEVEL = CARRIED.index(Parameter.WHEEL_TORQUE), CARRIED.index(Parameter.TORQUE_LEVEL)
_LEAST_SEEN = 1e-12
_LEAST_COUNTED = 1e-300


def squared_distances(state: State | Marginals, reading: DayReading, constants: Watch) -> Floats:
    """Return how far each explanation's readings lie from the nearest that each other could make.

    Parameters: `state` after the day; `reading` of the day; `constants` of the fans.
    Returns: (fans, explanations, explanations), of the second from the first; in squares of what lasts.
    Equation: min over c >= 0 of (a - c b)' K (a - c b), a and b what is at work under the two,
    K = n I (1 + P n I)^-1 for the day's information I, n such days and the covariance P of what lasts: the
    information of n days whose lasting errors are drawn once.
    Validity: near the point where the day was read, hours like that day's.
    Source: the matrix inversion lemma; expected evidence between two normals is half their squared distance.
    """
    month = DAYS_TOGETHER * reading.information
    left = np.linalg.solve(np.eye(WIDTH) + month @ constants.lasting, month)
    at_work = np.zeros_like(state.mean)
    at_work[..., :CAUSE_COUNT] = np.where(IS_ACTIVE[None], state.mean[..., :CAUSE_COUNT], 0.0)
    # Where the day was read no wheel may have been fouled: that its torque falls by more or less of its
    # pressure shows in its torque alone.
    lighter = state.mean[..., _WHEEL_TORQUE] - reading.at[:, None, _WHEEL_TORQUE]
    at_work[..., _TORQUE_LEVEL] = -lighter * at_work[..., _WHEEL]
    together = at_work @ left @ np.ascontiguousarray(np.swapaxes(at_work, 1, 2))
    own = np.maximum(np.diagonal(together, axis1=1, axis2=2), 0.0)
    alike = np.square(np.maximum(together, 0.0)) / np.maximum(own, _LEAST_SEEN)[:, None, :]
    return np.asarray(np.maximum(own[:, :, None] - alike, 0.0))


def undecided_weights(
    weight: Floats, told_as: Floats, state: State | Marginals, reading: DayReading, constants: Watch
) -> Floats:
    """Return the explanations' probabilities with no cause ruled out by less than what lasts.

    Parameters: `weight` (fans, explanations); `told_as` (fans, explanations, causes), the share of each cause
    in what an explanation is told as, `none` first: what shows nothing is like no fault; `state`, `reading`,
    `constants` of the day.
    Returns: (fans, explanations), summing to 1.
    Equation: W_b >= W_a min(1, r_b / r_a exp(-D_ab / 2)) for any two faults, W the weight of the cause that
    each is told as, r how often they begin and D the squared distance of b from a.
    """
    onset = constants.beliefs.log_daily_onset
    rarer = onset[:, None, :] - onset[:, :, None]
    odds = np.minimum(rarer - 0.5 * squared_distances(state, reading, constants), 0.0)
    is_fault = told_as[..., 0] < 0.5
    odds = np.where(is_fault[:, :, None] & is_fault[:, None, :], np.exp(odds), 0.0)
    by_cause = weight[..., None] * told_as
    counted = by_cause.sum(axis=1)
    # A cause that may come in several ways speaks as one, and is held as one.
    held = (np.ascontiguousarray(np.swapaxes(by_cause, 1, 2)) @ odds).max(axis=1)
    least = (held[..., None] * told_as).max(axis=1)
    raised = np.maximum(least / np.maximum(counted, _LEAST_COUNTED), 1.0)
    told = weight * (told_as * raised[:, None]).sum(axis=2)
    return np.asarray(told / told.sum(axis=1, keepdims=True))
