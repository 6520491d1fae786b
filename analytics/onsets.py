"""How likely has each explanation begun, or ended, since the day before?"""

import numpy as np

from analytics.arrays import Floats
from analytics.explanations import PAIR_PLACES, Beliefs

_LEAST_DAYS = 1e-3


def begun(log_weight: Floats, believed: Beliefs, elapsed_days: Floats) -> Floats:
    """Return the explanations' log weights after days in which faults may have begun or ended.

    A fault begins on a sound fan, or as the second beside one that is there; one that is there may be ended
    by work that nobody logged. What the days have said against a rival of the fault at work is not
    forgotten: it can take over only by way of a sound fan.

    Parameters: `log_weight` (fans, explanations), normalised; `believed`; `elapsed_days` (fans,).
    Returns: log weights (fans, explanations), not normalised.
    Equation: w + days (w T), T the daily chances of going from one explanation to another.
    Validity: days times chances small against 1.
    """
    weight, chance = np.exp(log_weight), np.exp(believed.log_daily_onset)
    ends = chance[:, 1:].max(axis=1)
    arrived = weight[:, :1] * chance
    arrived[:, 0] = ends * (1.0 - weight[:, 0])
    for pair, first, second in PAIR_PLACES:
        beside = weight[:, first] * chance[:, second] + weight[:, second] * chance[:, first]
        arrived[:, pair] += np.where(chance[:, pair] > 0.0, beside, 0.0)
        for single in (first, second):
            arrived[:, single] += ends * weight[:, pair]
    # What cannot be at all arrives from nowhere.
    with np.errstate(divide="ignore"):
        inflow = np.log(arrived * np.maximum(elapsed_days, _LEAST_DAYS)[:, None])
    return np.asarray(np.logaddexp(log_weight, inflow))
