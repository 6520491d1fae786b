"""How well does a model describe what was measured, and how much does the measurement say?"""

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats


def cv_rmse(observed: ArrayLike, predicted: ArrayLike, parameters: int) -> float:
    """Coefficient of variation of a model's root mean square error.

    Parameters: `observed` and `predicted`, the same one-dimensional shape, any one unit; `parameters`,
    how many the model has, an intercept included [-].
    Returns: CV(RMSE) as a fraction of the mean observation [-]; NaN with any NaN in the values, with no
    more values than parameters, or with a mean of zero.
    Raises: ValueError when the shapes differ.
    Equation: sqrt(sum (y - yhat)^2 / (n - p)) / ybar.
    Validity: quantities with a true zero and a mean away from it.
    Source: ASHRAE Guideline 14; the form with n - p as in CalTRACK Methods 2.0, section 4.3.2.2, which
    counts p without the intercept, whereas the intercept counts here.
    """
    y, yhat = _paired(observed, predicted)
    freedom, scale = y.size - parameters, _mean(y)
    if freedom <= 0 or scale == 0.0:
        return float("nan")
    return float(np.sqrt(np.sum(np.square(y - yhat)) / freedom) / scale)


def nmbe(observed: ArrayLike, predicted: ArrayLike, parameters: int) -> float:
    """Normalised mean bias error of a model; positive where the model reads low.

    Parameters: as for `cv_rmse`.
    Returns: NMBE as a fraction of the mean observation [-]; NaN as for `cv_rmse`.
    Raises: ValueError when the shapes differ.
    Equation: sum(y - yhat) / ((n - p) ybar).
    Validity: as for `cv_rmse`.
    Source: ASHRAE Guideline 14. Pages about it differ in the sign and in n for n - p: here the residual
    is observed minus predicted, and the degrees of freedom are n - p as in CV(RMSE).
    """
    y, yhat = _paired(observed, predicted)
    freedom, scale = y.size - parameters, _mean(y)
    if freedom <= 0 or scale == 0.0:
        return float("nan")
    return float(np.sum(y - yhat) / (freedom * scale))


def effective_samples(count: ArrayLike, lag_one: ArrayLike) -> Floats:
    """How many independent samples a correlated series is worth.

    Parameters: `count` of samples [-]; `lag_one`, their correlation one step apart, broadcast against
    it [-].
    Returns: effective number, 0 to `count` [-].
    Equation: n' = n (1 - r) / (1 + r).
    Validity: a first-order autoregressive series. Departure: a negative correlation is not credited
    with more samples than were taken.
    Source: ASHRAE Guideline 14, annex on uncertainty.
    """
    r = np.clip(as_floats(lag_one), 0.0, 1.0)
    return as_floats(count) * (1.0 - r) / (1.0 + r)


def _paired(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    one, other = as_floats(first), as_floats(second)
    if one.shape != other.shape:
        raise ValueError(f"the two series differ in shape: {one.shape} and {other.shape}")
    return one, other


def _mean(values: Floats) -> float:
    return float(np.mean(values)) if values.size else float("nan")
