"""How far does a day lie from what a fan without a fault would have shown?"""

import numpy as np

from analytics.arrays import Floats
from analytics.day_reading import DayReading
from analytics.explanations import EXPLANATIONS
from analytics.marginals import Marginals
from analytics.model import Parameter
from analytics.state import State
from analytics.watch import CARRIED, WIDTH

# The drive's own causes, in the order of the innovations' columns.
DRIFTING: tuple[Parameter, ...] = (Parameter.SLIP, Parameter.DRAG)
_ALONE = [EXPLANATIONS.index((cause,)) for cause in DRIFTING]
_PLACES = [CARRIED.index(cause) for cause in DRIFTING]
_NOTHING = EXPLANATIONS.index(())
_LEAST_INFORMATION = 1e-9


def without_fault(state: State) -> tuple[Floats, Floats]:
    """Return the mean (fans, WIDTH) and covariance (fans, WIDTH, WIDTH) as if nothing were at work."""
    return state.mean[:, _NOTHING].copy(), state.covariance[:, _NOTHING].copy()


def innovations(mean: Floats, carried: Floats, reading: DayReading) -> Floats:
    """Return a day's standardised innovation along the drive's causes, as if nothing were at work.

    White and of unit variance while the healthy model and its ordinary wander hold; positive day after day
    while slip or drag grows.

    Parameters: `mean` and `carried` covariance of the states predicted to the day, `without_fault`; `reading`
    of the day.
    Returns: (fans, causes of DRIFTING), NaN where the day says nothing of a cause.
    Equation: with information I and pull p of the day near a point, and the carried covariance P,
    g = (1 + I P)^-1 (p - I d), J = (1 + I P)^-1 I, z_c = g_c / sqrt(J_cc), d the carried mean less the
    point: the score test of a shift along c.
    Source: score test, as in Cox and Hinkley, Theoretical Statistics, chapter 9.
    """
    away = mean - reading.at
    felt = reading.pull - (reading.information @ away[..., None])[..., 0]
    # Only the causes' rows of (1 + I P)^-1 are asked for: columns of (1 + P I)^-1, as both are symmetric.
    whole = np.eye(WIDTH) + carried @ reading.information
    rows = np.linalg.solve(
        whole, np.broadcast_to(np.eye(WIDTH)[:, _PLACES], (len(whole), WIDTH, len(_PLACES)))
    )
    strength = (rows * reading.information[:, :, _PLACES]).sum(axis=1)
    score = (rows * felt[..., None]).sum(axis=1)
    is_said = strength > _LEAST_INFORMATION
    return np.where(is_said, score / np.sqrt(np.where(is_said, strength, 1.0)), np.nan)


def alone(state: State | Marginals) -> Floats:
    """Return what each of the drive's causes comes to if it alone were at work, in the model's unit.

    The ledger's centre is drawn to nothing while a cause is small and leaps once it is believed; a trend
    needs what grows evenly.

    Parameters: `state` after the day. Returns: (fans, causes of DRIFTING).
    """
    return np.stack([state.mean[:, one, place] for one, place in zip(_ALONE, _PLACES, strict=True)], axis=-1)
