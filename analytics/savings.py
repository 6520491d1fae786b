"""What did the change save, at the air of the time after it, and how sure is that?"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.stats import t as student

from analytics.arrays import Floats

MOST_CORRELATION: Final = 0.9
# What moves between two periods and no term follows: a bent station, a warm motor, a season. From planted
# changes on drawn fans, where days alone said too little.
MODEL_SD: Final = 0.0025
_LEAST_FREEDOM: Final = 3.0
_LEAST_PART: Final = 5  # days


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
    saved of `adjusted_kw`; `before_sd`, `after_sd` and `standing_sd` the parts of the deviation of
    ln(after / adjusted) that days before, days after and neither bring down; `correlation` of days one after
    the other; `before` and `after` the regressions.
    """

    adjusted_kw: float
    after_kw: float
    fraction: float
    before_sd: float
    after_sd: float
    standing_sd: float
    correlation: float
    before: Fitted
    after: Fitted

    @property
    def log_sd(self) -> float:
        """Standard deviation of ln(after / adjusted)."""
        return float(np.hypot(np.hypot(self.before_sd, self.standing_sd), self.after_sd))

    @property
    def freedom(self) -> float:
        """Degrees of freedom of what days bring down: two variances of unequal worth."""
        worths = [max(one.days / long_run(self.correlation) - 1.0, 1.0) for one in (self.before, self.after)]
        return _freedom((self.before_sd**2, worths[0]), (self.after_sd**2, worths[1]))

    def reach(self, confidence: float) -> float:
        """Return how far the interval of ln(after / adjusted) reaches; `confidence` as a fraction."""
        return float(student.ppf(0.5 + 0.5 * confidence, self.freedom)) * self.log_sd

    def after_more(self, days: int) -> "Saving":
        """Return the saving with so many more days after the change, each as those there are."""
        known = self.after.days
        after = replace(self.after, days=known + days)
        return replace(self, after=after, after_sd=self.after_sd * float(np.sqrt(known / (known + days))))

    def interval(self, confidence: float) -> tuple[float, float]:
        """Return the two-sided interval of `fraction`; `confidence` as a fraction."""
        reach = self.reach(confidence)
        centre = np.log1p(-self.fraction)
        return float(-np.expm1(centre + reach)), float(-np.expm1(centre - reach))


def fit_period(hours: PeriodHours, belief: Belief) -> Fitted:
    """Regress a period's log power on its terms, holding slopes that noise can feign near nothing.

    Parameters: `hours`; `belief`. Returns: `Fitted`.
    Equation: least squares b, V its covariance by day sums plus `bias`; slopes P (P + V)^-1 b with
    P = prior_sd^2, covariance P - P (P + V)^-1 P; level the mean of y - x' slopes by energy.
    Validity: residuals small beside 1. Departure from plain least squares: where a period hardly moves a
    term, its slope is mostly noise, and a plain regression would carry that into the saving. The level is a
    mean by energy, as the saving is: slip and whatever the curves miss grow with load, slopes held near
    nothing leave that in the level, and hours counted alike before and by energy after would not agree.
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
    level = float(energy_share(hours) @ (hours.log_power - hours.terms @ slopes))
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
    Equation: ln(1 - S) = sum w (y - a - x' b), w the share of an hour in the energy of its period; variance
    sum over days (w e)^2 (1 + r) / (1 - r) D / (D - 1) of each period + m' C m + standing_sd^2 + model_sd^2,
    m = mean x after - before, by energy.
    Validity: the same instruments in both periods: a gain that stands in both goes out of the ratio.
    Source: the form of the adjusted baseline is that of ASHRAE Guideline 14; the variance by days is a
    cluster-robust (sandwich) estimate as in any text on panel data, widened as Guideline 14 widens n to n'.
    """
    first, second = fit_period(before, belief), fit_period(after, belief)
    share, weight = energy_share(before), energy_share(after)
    gone = after.log_power - first.level - after.terms @ first.slopes
    log_ratio = float(weight @ gone)
    apart = weight @ after.terms - share @ before.terms
    days = first.days + second.days
    # One process errs in both periods: its correlation is better known from both.
    correlation = (first.days * first.correlation + second.days * second.correlation) / days
    before_variance = _mean_variance(share * first.residual, before.day, correlation)
    after_variance = _mean_variance(weight * second.residual, after.day, correlation)
    standing = float(apart @ first.covariance @ apart) + standing_sd**2 + MODEL_SD**2
    after_kw = float(after.power_kw.mean())
    return Saving(
        after_kw * float(np.exp(-log_ratio)),
        after_kw,
        float(-np.expm1(log_ratio)),
        float(np.sqrt(before_variance)),
        float(np.sqrt(after_variance)),
        float(np.sqrt(standing)),
        correlation,
        first,
        second,
    )


def days_to_decide(found: Saving, promised: float, confidence: float, most: int = 730) -> int | None:
    """How many more days after the change would tell whether a promise was kept, should they be like these.

    Parameters: `found`; `promised` as a fraction; `confidence` as a fraction; `most` to look ahead.
    Returns: days, 0 where it is told already; None where no number of days up to `most` would: what the
    hours before leave unknown stays.
    Equation: the least k with |ln(1 - promised) - ln(1 - S)| >= t(k) sqrt(before^2 + standing^2 +
    after^2 D / (D + k)).
    Validity: even odds: the saving itself moves as days come, up or down.
    """
    away = abs(float(np.log1p(-promised) - np.log1p(-found.fraction)))
    ahead = range(most + 1)
    return next((days for days in ahead if found.after_more(days).reach(confidence) <= away), None)


def energy_share(hours: PeriodHours) -> Floats:
    """Return the share of each hour in the energy of its period."""
    return np.asarray(hours.power_kw / hours.power_kw.sum())


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


@dataclass(frozen=True, slots=True)
class Step:
    """Where a period falls into two states: the later one's first `day`, how far log power rises, its sd."""

    day: float
    rise: float
    sd: float


def step_within(fitted: Fitted, day: Floats) -> Step | None:
    """Where a period's days, at the same air, differ most from those before them in it.

    Parameters: `fitted`, the period's regression; `day` (hours,) of the same hours.
    Returns: `Step`; None with fewer than ten days.
    Equation: of all splits with five days on either side the one of the largest difference of means over its
    deviation, which is widened for the correlation left within the parts. The largest of many is larger than
    one: 4 deviations are shown by 1 even period in 200, and by 1 in 30 where days are alike (r 0.3).
    """
    days = np.unique(day)
    means = day_sums(fitted.residual, day) / day_sums(np.ones(len(day)), day)
    found = [_split(means, days, place) for place in range(_LEAST_PART, len(days) - _LEAST_PART + 1)]
    return max(found, key=lambda one: abs(one.rise) / one.sd, default=None)


def _split(means: Floats, days: Floats, place: int) -> Step:
    parts = means[:place], means[place:]
    within = np.concatenate([part - part.mean() for part in parts])
    variance = float(np.mean(np.square(within))) * len(days) / (len(days) - 2.0)
    variance *= sum(1.0 / len(part) for part in parts) * long_run(day_correlation(within, days))
    rise = float(parts[1].mean() - parts[0].mean())
    return Step(float(days[place]), rise, max(float(np.sqrt(variance)), 1e-9))


def long_run(correlation: float) -> float:
    """How many correlated days are worth one: n / n' of ASHRAE Guideline 14, (1 + r) / (1 - r)."""
    return (1.0 + correlation) / (1.0 - correlation)


def _mean_variance(influence: Floats, day: Floats, correlation: float) -> float:
    sums = day_sums(influence, day)
    days = len(sums)
    return float(np.sum(np.square(sums))) * days / max(days - 1, 1) * long_run(correlation)


def _freedom(*parts: tuple[float, float]) -> float:
    # Welch and Satterthwaite.
    total = sum(variance for variance, _ in parts)
    by = sum(variance**2 / worth for variance, worth in parts)
    return max(total**2 / by, _LEAST_FREEDOM) if by > 0.0 else _LEAST_FREEDOM
