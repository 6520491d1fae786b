"""How well does a model describe what was measured, and how much does the measurement say?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import curve_fit

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


def lag_one_correlation(values: ArrayLike) -> float:
    """Correlation of a series with itself one step later.

    Parameters: `values` at equal steps, one-dimensional, any unit.
    Returns: correlation, -1 to 1 [-]; NaN with any NaN, below three values, or for a constant series.
    Equation: sum (y_t - ybar)(y_t+1 - ybar) / sum (y_t - ybar)^2.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12, autocorrelation.
    """
    y = as_floats(values)
    if y.size < 3:
        return float("nan")
    deviation = y - np.mean(y)
    spread = np.sum(np.square(deviation))
    return float(np.sum(deviation[:-1] * deviation[1:]) / spread) if spread > 0.0 else float("nan")


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


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """A fitted y = coefficient x^exponent with the standard deviations of both."""

    coefficient: float
    exponent: float
    coefficient_sd: float
    exponent_sd: float
    residual_sum_of_squares: float
    residual_sd: float
    degrees_of_freedom: int


def power_law_fit(x: ArrayLike, y: ArrayLike, start: tuple[float, float] = (1.0, 2.0)) -> PowerLaw:
    """Least-squares fit of a power law, for the exponent that a fan on its system really follows.

    Fitted in y itself, not in its logarithm: the logarithm would weigh the low readings, which are the
    poorest. The two differ where the law does not hold.

    Parameters: `x` and `y`, the same one-dimensional shape, any units; `start`, first guess of
    coefficient and exponent.
    Returns: `PowerLaw`.
    Raises: ValueError when the shapes differ, below three pairs, for values that are not finite or an x
    that is not positive; RuntimeError where the fit does not converge.
    Equation: minimise sum (y - b1 x^b2)^2; sd from the Jacobian at the solution.
    Validity: x spanning enough to show a power; look at `exponent_sd`.
    Source: Levenberg-Marquardt as in MINPACK; test data set DanWood, NIST StRD.
    """
    x_values, y_values = _paired(x, y)
    freedom = x_values.size - 2
    if freedom < 1:
        raise ValueError(f"a power law needs at least 3 pairs, got {x_values.size}")
    if not (np.all(np.isfinite(x_values)) and np.all(np.isfinite(y_values)) and np.all(x_values > 0.0)):
        raise ValueError("a power law needs finite values and positive x; leave the others out first")
    solution, covariance = curve_fit(
        _power_law, x_values, y_values, p0=start, jac=_power_law_slopes, method="lm", xtol=1e-14, ftol=1e-14
    )
    residual = float(np.sum(np.square(y_values - _power_law(x_values, *solution))))
    sd = np.sqrt(np.diag(covariance))
    return PowerLaw(
        coefficient=float(solution[0]),
        exponent=float(solution[1]),
        coefficient_sd=float(sd[0]),
        exponent_sd=float(sd[1]),
        residual_sum_of_squares=residual,
        residual_sd=float(np.sqrt(residual / freedom)),
        degrees_of_freedom=freedom,
    )


def _power_law(x: Floats, coefficient: float, exponent: float) -> Floats:
    return coefficient * np.power(x, exponent)


def _power_law_slopes(x: Floats, coefficient: float, exponent: float) -> Floats:
    power = np.power(x, exponent)
    return np.stack((power, coefficient * power * np.log(x)), axis=-1)


def _paired(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    one, other = as_floats(first), as_floats(second)
    if one.shape != other.shape:
        raise ValueError(f"the two series differ in shape: {one.shape} and {other.shape}")
    return one, other


def _mean(values: Floats) -> float:
    return float(np.mean(values)) if values.size else float("nan")
