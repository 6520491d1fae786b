"""How far does a day lie from what is carried, and along which cause?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE
from analytics.inverse_roots import inverse_roots
from analytics.priors import PINNED_SD
from analytics.watch import Watch

JUMP_DEVIATIONS = 4.0
_SAYINGS = 9
_LEAST_STRENGTH = 1e-6
_AT_WORK = np.nonzero(IS_ACTIVE)


@dataclass(frozen=True, slots=True)
class Sayings:
    """A day's hours as a few independent readings of unit variance.

    `slopes` (fans, WIDTH, readings) by the carried parameters; `values` (fans, readings) near the point.
    """

    slopes: Floats
    values: Floats


def open_deviations(carried: Floats) -> Floats:
    """Return how far each parameter is open at most, under any explanation.

    Parameters: `carried` covariance (fans, explanations, WIDTH, WIDTH). Returns: (fans, WIDTH).
    """
    return np.asarray(np.sqrt(np.diagonal(carried, axis1=2, axis2=3).max(axis=1)), dtype=np.float64)


def sayings(open_sd: Floats, information: Floats, pull: Floats) -> Sayings:
    """Return what a day's hours say in as few readings as matter.

    Parameters: `open_sd` of `open_deviations`; `information` (fans, WIDTH, WIDTH) and `pull` (fans, WIDTH)
    of the day. Returns: `Sayings`.
    Equation: I = R' R nearly, R of few rows, and R' v = p: Cholesky's factorisation, the parameter of the
    largest I_cc less what is said, times its open variance, taken next.
    Validity: what is left unsaid stays below a tenth of what is open (in drawn days, a hundredth at most).
    Source: Cholesky's factorisation with pivots, as in Higham, Accuracy and Stability of Numerical
    Algorithms, chapter 10.
    """
    # Forty-eight readings of two channels bend in few ways: nine say all that matters. Each is what the day
    # says of the parameter of which most is still open, along all that it is mixed with.
    fans, every = len(pull), np.arange(len(pull))
    rows, values = np.zeros((fans, _SAYINGS, pull.shape[1])), np.zeros((fans, _SAYINGS))
    left, open_variance = np.diagonal(information, axis1=1, axis2=2).copy(), np.square(open_sd)
    for k in range(_SAYINGS):
        strength = left * open_variance
        most = strength.argmax(axis=1)
        is_said = strength[every, most] > _LEAST_STRENGTH
        scale = np.where(is_said, 1.0 / np.sqrt(np.where(is_said, left[every, most], 1.0)), 0.0)
        said, pulled = rows[:, :k], rows[every, :k, most]
        row = information[every, most] - (pulled[:, None] @ said)[:, 0]
        row *= scale[:, None]
        values[:, k] = scale * (pull[every, most] - (pulled * values[:, :k]).sum(axis=1))
        rows[:, k] = row
        left -= np.square(row)
        left[every, most] = 0.0
    return Sayings(np.ascontiguousarray(np.swapaxes(rows, 1, 2)), values)


@dataclass(frozen=True, slots=True)
class Shown:
    """What the carried errors show in a day's readings, under each explanation.

    `along` (fans, explanations, WIDTH, readings), the carried covariance with the readings; `spread`
    (fans, explanations, readings, readings), the readings' own covariance; `root` of the same shape, lower
    triangular, W with W' W its inverse; `log_det` (fans, explanations) of it.
    """

    along: Floats
    spread: Floats
    root: Floats
    log_det: Floats


def shown_in(carried: Floats, slopes: Floats) -> Shown:
    """Return what the carried errors show in the readings.

    Parameters: `carried` covariance (fans, explanations, WIDTH, WIDTH); `slopes` of `Sayings`.
    """
    fans, explanations, width, _ = carried.shape
    readings = slopes.shape[-1]
    # One product a fan, the explanations one below the other, in place of one an explanation.
    below = np.ascontiguousarray(carried).reshape(fans, explanations * width, width)
    along = (below @ slopes).reshape(fans, explanations, width, readings)
    spread = np.eye(readings) + np.swapaxes(slopes, 1, 2)[:, None] @ along
    return Shown(along, spread, *inverse_roots(spread))


def opened_in(shown: Shown, slopes: Floats, added: Floats) -> Shown:
    """Return what the carried errors show once causes have been opened.

    Parameters: `shown` before; `slopes` of `Sayings`; `added` (fans, explanations, causes) variance of each.
    """
    which = added.any(axis=-1)
    of_causes = np.broadcast_to(slopes[:, None, :CAUSE_COUNT], (*added.shape, slopes.shape[-1]))[which]
    more = added[which][..., None] * of_causes
    along, spread = shown.along.copy(), shown.spread.copy()
    root, log_det = shown.root.copy(), shown.log_det.copy()
    along[which, :CAUSE_COUNT] += more
    spread[which] += np.swapaxes(of_causes, 1, 2) @ more
    root[which], log_det[which] = inverse_roots(spread[which])
    return Shown(along, spread, root, log_det)


def jumps(constants: Watch, slopes: Floats, shown: Shown, weighed: Floats, is_held: Bools) -> Bools:
    """Return which causes (fans, explanations, causes) a day lies too far from to have been walked to.

    Parameters: `constants`; `slopes` of `Sayings`; `shown`; `weighed` (fans, explanations, readings), what
    the readings miss, by the inverse of their covariance; `is_held` (fans, causes), read at rest that day.
    """
    # Along one cause: how far the day lies from what is carried, and how sure the day is of it.
    under, cause = _AT_WORK
    along = (shown.root[:, under] @ slopes[:, cause, :, None])[..., 0]
    strength = np.maximum(np.square(along).sum(axis=-1), 1e-9)
    felt = (weighed @ np.ascontiguousarray(np.swapaxes(slopes[:, :CAUSE_COUNT], 1, 2)))[:, under, cause]
    # A zero read while the fan stood still is where it was read: it does not leap for the hours of one day
    # and back for the night.
    is_free = (constants.beliefs.daily[:, cause] > (2.0 * PINNED_SD) ** 2) & ~is_held[:, cause]
    found = np.zeros((len(slopes), *IS_ACTIVE.shape), dtype=bool)
    found[:, under, cause] = is_free & (np.square(felt) > JUMP_DEVIATIONS**2 * strength)
    return found
