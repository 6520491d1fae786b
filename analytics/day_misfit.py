"""How far does a day lie from what is carried, and along which cause?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE
from analytics.priors import PINNED_SD
from analytics.watch import Watch

JUMP_DEVIATIONS = 4.0
_SAYINGS = 8
_LEAST_STRENGTH = 1e-6


@dataclass(frozen=True, slots=True)
class Sayings:
    """A day's hours as a few independent readings of unit variance.

    `slopes` (fans, WIDTH, readings) by the carried parameters; `values` (fans, readings) near the point.
    """

    slopes: Floats
    values: Floats


def sayings(carried: Floats, information: Floats, pull: Floats) -> Sayings:
    """Return what a day's hours say in as few readings as matter.

    Parameters: `carried` covariance (fans, explanations, WIDTH, WIDTH); `information` (fans, WIDTH, WIDTH)
    and `pull` (fans, WIDTH) of the day. Returns: `Sayings`.
    """
    # Forty-eight readings of two channels bend in few ways: the strongest directions of their information,
    # each parameter measured by what is open of it, say all that matters.
    open_sd = np.sqrt(np.diagonal(carried, axis1=2, axis2=3).max(axis=1))
    scaled = information * open_sd[:, :, None] * open_sd[:, None, :]
    strength, directions = np.linalg.eigh(scaled)
    strength, directions = strength[:, -_SAYINGS:], directions[:, :, -_SAYINGS:]
    is_said = strength > _LEAST_STRENGTH
    root = np.sqrt(np.where(is_said, strength, 1.0))
    slopes = np.where(is_said, root, 0.0)[:, None, :] * directions / open_sd[:, :, None]
    pulled = (np.swapaxes(directions, 1, 2) @ (pull * open_sd)[..., None])[..., 0]
    return Sayings(slopes, np.where(is_said, pulled / root, 0.0))


def shown_in(carried: Floats, slopes: Floats) -> tuple[Floats, Floats, Floats]:
    """Return what the carried errors show in the readings, the readings' inverse covariance, its log size."""
    fans, explanations, width, _ = carried.shape
    readings = slopes.shape[-1]
    # One product a fan, the explanations one below the other, in place of one an explanation.
    below = np.ascontiguousarray(carried).reshape(fans, explanations * width, width)
    shown = (below @ slopes).reshape(fans, explanations, width, readings)
    spread = np.eye(slopes.shape[-1]) + np.swapaxes(slopes, 1, 2)[:, None] @ shown
    _, log_det = np.linalg.slogdet(spread)
    inverse = np.asarray(np.linalg.inv(spread), dtype=np.float64)
    return shown, inverse, np.asarray(log_det, dtype=np.float64)


def jumps(constants: Watch, slopes: Floats, missed: Floats, inverse: Floats) -> Bools:
    """Return which causes (fans, explanations, causes) a day lies too far from to have been walked to."""
    # Along one cause: how far the day lies from what is carried, and how sure the day is of it.
    along = slopes[:, None, :CAUSE_COUNT] @ inverse
    strength = np.maximum((along * slopes[:, None, :CAUSE_COUNT]).sum(axis=-1), 1e-9)
    felt = (along @ missed[..., None])[..., 0]
    is_free = constants.beliefs.daily[:, None] > (2.0 * PINNED_SD) ** 2
    is_far = np.square(felt) / strength > JUMP_DEVIATIONS**2
    return np.asarray(IS_ACTIVE[None] & is_free & is_far, dtype=bool)
