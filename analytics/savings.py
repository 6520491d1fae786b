"""What did the change save, at the air of the time after it, and how sure is that?"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import t as student

from analytics.arrays import Floats

MOST_CORRELATION: Final = 0.9
# What moves between two periods and no term follows: a bent station, a warm motor, a season. From planted
# changes on drawn fans, where days alone said too little.
MODEL_SD: Final = 0.0025
_LEAST_FREEDOM: Final = 3.0


@dataclass(frozen=True, slots=True)
class PeriodHours:
    """One period's hours; arrays (hours,), `terms` (hours, terms).

    `day` an integer a plant day, in order; `power_kw` read; `log_power` its logarithm over what the curves
    give at that air, or alone; `noisy_log_power` the same at the airflow as the station read it, for what
    its noise does to a mean; `terms` what the logarithm may follow, zero on average before the change.
    """

    day: Floats
    power_kw: Floats
    log_power: Floats
    noisy_log_power: Floats
    terms: Floats


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of the slopes by each term before the hours speak.

    `prior_sd` (terms,) how far from 0 they may be; `bias` (terms, terms) the covariance of what the station's
    noise may do to the slopes of a regression, since the same noise stands in power and terms.
    """

    prior_sd: Floats
    bias: Floats


@dataclass(frozen=True, slots=True)
class Fitted:
    """A regression of a period's log power.

    `level` at terms of 0; `slopes` (terms,) and their `covariance`; `residual` (hours,) at the airflow as
    read; `correlation` of daily means from day to day; `days` in it.
    """

    level: float
    slopes: Floats
    covariance: Floats
    residual: Floats
    correlation: float
    days: int


@dataclass(frozen=True, slots=True)
class Saving:
    """What a change saved at the air of the hours after it.

    `adjusted_kw` mean power the arrangement before would have drawn in them; `after_kw` read; `fraction`
    saved of `adjusted_kw`; `log_sd` of ln(after / adjusted), `before_sd` and `after_sd` its parts, `freedom`
    of their estimate; `correlation` of days one after the other; `before` and `after` the regressions.
    """

    adjusted_kw: float
    after_kw: float
    fraction: float
    log_sd: float
    before_sd: float
    after_sd: float
    freedom: float
    correlation: float
    before: Fitted
    after: Fitted

    def interval(self, confidence: float) -> tuple[float, float]:
        """Return the two-sided interval of `fraction`; `confidence` as a fraction."""
        reach = float(student.ppf(0.5 + 0.5 * confidence, self.freedom)) * self.log_sd
        centre = np.log1p(-self.fraction)
        return float(-np.expm1(centre + reach)), float(-np.expm1(centre - reach))


def fit_period(hours: PeriodHours, belief: Belief) -> Fitted:
    """Regress a period's log power on its terms, holding slopes that noise can feign near nothing.

    Parameters: `hours`; `belief`. Returns: `Fitted`.
    Equation: least squares b, V its covariance by day sums plus `bias`; slopes P (P + V)^-1 b with
    P = prior_sd^2, covariance P - P (P + V)^-1 P.
    Validity: residuals small beside 1. Departure from plain least squares: where a period hardly moves a
    term, its slope is mostly noise, and a plain regression would carry that into the saving.
    """
    x = hours.terms - hours.terms.mean(axis=0)
    inverse = np.linalg.pinv(x.T @ x, rcond=1e-9, hermitian=True)
    plain = inverse @ (x.T @ (hours.log_power - hours.log_power.mean()))
    left = hours.noisy_log_power - hours.noisy_log_power.mean() - x @ plain
    correlation = day_correlation(left, hours.day)
    sums = np.stack([day_sums(x[:, k] * left, hours.day) for k in range(x.shape[1])], axis=1)
    found = inverse @ (sums.T @ sums) @ inverse * long_run(correlation)
    found += belief.bias
    prior = np.diag(np.square(belief.prior_sd))
    kept = prior @ np.linalg.pinv(prior + found, hermitian=True)
    slopes = kept @ plain
    level = float(hours.log_power.mean() - hours.terms.mean(axis=0) @ slopes)
    residual = hours.noisy_log_power - level - hours.terms @ slopes
    return Fitted(level, slopes, prior - kept @ prior, residual, correlation, len(sums))


def saving(before: PeriodHours, after: PeriodHours, belief: Belief, standing_sd: float = 0.0) -> Saving:
    """Hold the hours after a change against what the arrangement before would have drawn in the same air.

    The regression of the hours before gives the adjusted power of each hour after; the saving is the energy
    between. Its variance is that of the day sums of the residuals of both periods, widened for their
    correlation from day to day, plus what the slopes leave where the air of the two periods differs.

    Parameters: `before`; `after`, only hours inside the range of those before; `belief`;
    `standing_sd`, what no number of days brings down, as a deviation of the logarithm.
    Returns: `Saving`.
    Equation: ln(1 - S) = sum w (y - a - x' b), w the share of an hour in the energy after; variance
    sum over days (w e)^2 (1 + r) / (1 - r) D / (D - 1) of each period + m' C m + standing_sd^2 + model_sd^2,
    m = mean x after - before.
    Validity: the same instruments in both periods: a gain that stands in both goes out of the ratio.
    Source: the form of the adjusted baseline is that of ASHRAE Guideline 14; the variance by days is a
    cluster-robust (sandwich) estimate as in any text on panel data, widened as Guideline 14 widens n to n'.
    """
    first, second = fit_period(before, belief), fit_period(after, belief)
    weight = after.power_kw / after.power_kw.sum()
    gone = after.log_power - first.level - after.terms @ first.slopes
    log_ratio = float(weight @ gone)
    apart = weight @ after.terms - before.terms.mean(axis=0)
    days = first.days + second.days
    # One process errs in both periods: its correlation is better known from both.
    correlation = (first.days * first.correlation + second.days * second.correlation) / days
    before_variance = _mean_variance(first.residual / len(first.residual), before.day, correlation)
    after_variance = _mean_variance(weight * second.residual, after.day, correlation)
    standing = float(apart @ first.covariance @ apart) + standing_sd**2 + MODEL_SD**2
    after_kw = float(after.power_kw.mean())
    worths = [max(one.days / long_run(correlation) - 1.0, 1.0) for one in (first, second)]
    return Saving(
        after_kw * float(np.exp(-log_ratio)),
        after_kw,
        float(-np.expm1(log_ratio)),
        float(np.sqrt(before_variance + standing + after_variance)),
        float(np.sqrt(before_variance + standing)),
        float(np.sqrt(after_variance)),
        _freedom((before_variance, worths[0]), (after_variance, worths[1])),
        correlation,
        first,
        second,
    )


def days_to_decide(found: Saving, promised: float, confidence: float, most: int = 730) -> int | None:
    """How many more days after the change would tell whether a promise was kept, should they be like these.

    Parameters: `found`; `promised` as a fraction; `confidence` as a fraction; `most` to look ahead.
    Returns: days, 0 where it is told already; None where no number of days up to `most` would: what the
    hours before leave unknown stays.
    Equation: variance before + after D / (D + k).
    """
    away = abs(float(np.log1p(-promised) - np.log1p(-found.fraction)))
    more = np.arange(most + 1)
    days = found.after.days
    sd = np.hypot(found.before_sd, found.after_sd * np.sqrt(days / (days + more)))
    is_told = away >= float(student.ppf(0.5 + 0.5 * confidence, found.freedom)) * sd
    return int(np.argmax(is_told)) if is_told.any() else None


def day_sums(values: Floats, day: Floats) -> Floats:
    """Return the sums of values by day, days in order."""
    _, group = np.unique(day, return_inverse=True)
    return np.asarray(np.bincount(group, weights=values), dtype=np.float64)


def day_correlation(residual: Floats, day: Floats) -> float:
    """Correlation of daily means from one day to the next, with the bias of short series taken off.

    Parameters: `residual` and `day` (hours,). Returns: 0 to 0.9 [-]; 0 with fewer than five days.
    Equation: r + (1 + 4 r) / n. Source: the first-order bias of the lag-one correlation, Kendall 1954 (from
    memory).
    """
    days = np.unique(day)
    follows = np.diff(days) <= 3.0  # a weekend without hours is no break
    if follows.sum() < 4:
        return 0.0
    means = day_sums(residual, day) / day_sums(np.ones(len(day)), day)
    away = means - means.mean()
    spread = float(np.mean(np.square(away)))
    if spread <= 0.0:
        return 0.0
    found = float(np.mean(away[1:][follows] * away[:-1][follows])) / spread
    return float(np.clip(found + (1.0 + 4.0 * found) / len(means), 0.0, MOST_CORRELATION))


def moved_within(fitted: Fitted, day: Floats) -> tuple[float, float]:
    """How far the log power of a period's later half lies above that of its earlier one, at the same air.

    Parameters: `fitted`, the period's regression; `day` (hours,) of the same hours.
    Returns: difference of the means by day and its standard deviation [-]; 0 and infinity below ten days.
    Equation: difference of two means, widened for the correlation left within the halves.
    """
    means = day_sums(fitted.residual, day) / day_sums(np.ones(len(day)), day)
    middle = len(means) // 2
    if middle < 5:
        return 0.0, float("inf")
    halves = means[:middle], means[middle:]
    variance = sum(float(half.var(ddof=1)) / len(half) for half in halves)
    within = np.concatenate([half - half.mean() for half in halves])
    correlation = day_correlation(within, np.unique(day))
    return float(halves[1].mean() - halves[0].mean()), float(np.sqrt(variance * long_run(correlation)))


def long_run(correlation: float) -> float:
    """How many correlated days are worth one: n / n' of ASHRAE Guideline 14, (1 + r) / (1 - r)."""
    return (1.0 + correlation) / (1.0 - correlation)


def _mean_variance(influence: Floats, day: Floats, correlation: float) -> float:
    sums = day_sums(influence, day)
    days = len(sums)
    return float(np.sum(np.square(sums))) * days / max(days - 1, 1) * long_run(correlation)


def _freedom(*parts: tuple[float, float]) -> float:
    # Welch and Satterthwaite: two variances of unequal worth.
    total = sum(variance for variance, _ in parts)
    by = sum(variance**2 / worth for variance, worth in parts)
    return max(total**2 / by, _LEAST_FREEDOM) if by > 0.0 else _LEAST_FREEDOM
