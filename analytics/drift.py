"""Is the drive drifting below its limits, and when will it reach one?"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import stats
from scipy.optimize import brentq

from analytics.arrays import Bools, Floats

Integers = npt.NDArray[np.int64]

# Half a standard deviation of drift is the slack of the sum: it finds a drift of one deviation soonest.
SLACK = 0.5
DAYS_A_YEAR = 365.25
FORECAST_DAYS = 45
LEAST_FORECAST_DAYS = 14
LEAST_TREND_DEVIATIONS = 2.5
FORECAST_SHARE = 0.80
# Days next to each other share what the filter carried: so many count as one.
_CARRIED_DAYS = 5.0
# What no scatter about the line shows, set on drawn fans: the healthy curves' error stays with the fan, and
# other causes take a share of the pace. Points, and share of the slope.
LASTING_SD = 0.3
PACE_SD_SHARE = 0.2
_NODES = 120


def summed(total: float, value: float, slack: float = SLACK) -> float:
    """Return a one-sided cumulative sum after one more standardised value.

    Parameters: `total` before it; `value` in standard deviations from the healthy mean; `slack` in the same.
    Returns: the sum, never below zero.
    Equation: C_i = max(0, C_(i-1) + z_i - k), C_0 = 0.
    Source: Page's test as in Montgomery, Introduction to Statistical Quality Control, chapter 9.
    """
    return max(0.0, total + value - slack)


def average_run_length(threshold: float, shift: float = 0.0, slack: float = SLACK) -> float:
    """Return the mean number of independent normal days until a one-sided sum passes its threshold.

    Parameters: `threshold` and `slack` in standard deviations; `shift` of the mean.
    Equation: L(u) = 1 + L(0) Phi(k - u - d) + int_0^h L(y) phi(y + k - u - d) dy, solved on Gauss-Legendre
    nodes. Validity: independent normal values; correlated ones alarm more often.
    Source: Page's integral equation, as in Montgomery, chapter 9.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    places = 0.5 * threshold * (nodes + 1.0)
    weights = 0.5 * threshold * weights
    points = np.append(0.0, places)
    kernel = stats.norm.pdf(places[None, :] + slack - points[:, None] - shift) * weights[None, :]
    matrix = np.eye(_NODES + 1)
    matrix[:, 0] -= stats.norm.cdf(slack - points - shift)
    matrix[:, 1:] -= kernel
    return float(np.linalg.solve(matrix, np.ones(_NODES + 1))[0])


@cache
def threshold_for(false_alarms_a_year: float, judged_days_a_year: float = DAYS_A_YEAR) -> float:
    """Return the threshold of the sum at which quiet days alarm so often a year.

    Parameters: both a fan and year. Returns: threshold in standard deviations, 1 to 15.
    """
    wanted = judged_days_a_year / max(false_alarms_a_year, 1e-6)

    def excess(threshold: float) -> float:
        return float(np.log(average_run_length(threshold)) - np.log(wanted))

    low, high = 1.0, 15.0
    if excess(high) < 0.0:
        return high
    return low if excess(low) > 0.0 else float(brentq(excess, low, high, xtol=1e-3))


@dataclass(frozen=True, slots=True)
class Forecast:
    """When a limit is reached, in days from the last one; the bounds hold FORECAST_SHARE.

    `latest_days` is infinite where a slow end of the trend never reaches it.
    """

    days: float
    earliest_days: float
    latest_days: float


@dataclass(frozen=True, slots=True)
class Lines:
    """Straight lines through stretches of days; every field has shape (lines,), x in days from the last one.

    `count` of the days; `span` from the first to the last; `level` at the last and `slope` a day, in the
    value's unit; `middle` the mean of x and `square` the sum of squares about it; `variance` of one day's
    value, widened by the days that count as one.
    """

    count: Integers
    span: Floats
    level: Floats
    slope: Floats
    middle: Floats
    square: Floats
    variance: Floats


def lines(day: Floats, value: Floats, begins: Integers, ends: Integers) -> Lines:
    """Lay straight lines through the last weeks of some stretches, each for itself.

    Parameters: `day` (days,) whole numbers, ascending in each stretch; `value` (days,) at them; `begins`,
    `ends` (lines,) where each stretch begins and ends, past its last, which is there.
    Equation: ordinary least squares over the last FORECAST_DAYS.
    """
    # Counted back from the end, so that a stretch has the same bits whatever stands before it.
    place = ends[:, None] + np.arange(-FORECAST_DAYS - 1, 0)
    known = np.maximum(place, 0)
    x = day[known] - day[ends - 1][:, None]
    is_counted = (place >= begins[:, None]) & (x >= -FORECAST_DAYS)
    x, y = np.where(is_counted, x, 0.0), np.where(is_counted, value[known], 0.0)
    count = is_counted.sum(axis=1)
    middle, mean = x.sum(axis=1) / count, y.sum(axis=1) / count
    apart = np.where(is_counted, x - middle[:, None], 0.0)
    square = (apart * apart).sum(axis=1)
    slope = (apart * y).sum(axis=1) / np.maximum(square, 1e-9)
    left = np.where(is_counted, y - mean[:, None] - slope[:, None] * apart, 0.0)
    variance = (left * left).sum(axis=1) / np.maximum(count - 2, 1) * _CARRIED_DAYS
    return Lines(count, -x.min(axis=1), mean - slope * middle, slope, middle, square, variance)


def rising(found: Lines, limits: Floats) -> Bools:
    """Tell which lines rise for certain towards limits that they have not reached, (lines,)."""
    is_long = (found.count >= LEAST_FORECAST_DAYS) & (found.span >= LEAST_FORECAST_DAYS)
    slope_sd = np.sqrt(found.variance / np.maximum(found.square, 1e-9))
    return is_long & (found.level < limits) & (found.slope > LEAST_TREND_DEVIATIONS * slope_sd)


def crossing(found: Lines, line: int, limit: float) -> Forecast:
    """Say when a rising line reaches a limit.

    Parameters: `found`; `line`, the number of one that is `rising`; `limit` in the value's unit.
    Equation: the line's errors widened by what no scatter shows; the crossing's bounds from Student's t of
    level less limit plus slope times days (Fieller).
    Validity: drifts straight over weeks; a belt past its knee runs ahead of it.
    """
    count, slope = int(found.count[line]), float(found.slope[line])
    middle, square = float(found.middle[line]), float(found.square[line])
    variance = float(found.variance[line])
    of_level, of_both = variance * (1.0 / count + middle**2 / square), -variance * middle / square
    covariance = np.array([[of_level, of_both], [of_both, variance / square]])
    covariance += np.diag([LASTING_SD**2, (PACE_SD_SHARE * slope) ** 2])
    return _crossing(limit - float(found.level[line]), slope, covariance, _quantile(count))


@cache
def _quantile(count: int) -> float:
    freedom = max(count / _CARRIED_DAYS - 2.0, 2.0)
    return float(stats.t.ppf(0.5 + 0.5 * FORECAST_SHARE, freedom))


def forecast(day: Floats, value: Floats, limit: float) -> Forecast | None:
    """Say when a straight trend of the last weeks reaches a limit; None where there is no trend.

    Parameters: `day` (days,) ascending whole numbers; `value` (days,) at them; `limit` in the value's unit.
    Returns: the `crossing` of one of `lines`, or None below a certain trend, past the limit, or with too few
    days.
    """
    if not len(day):
        return None
    found = lines(day, value, np.zeros(1, dtype=np.int64), np.array([len(day)]))
    return crossing(found, 0, limit) if rising(found, np.array([limit]))[0] else None


def _crossing(gap: float, slope: float, covariance: Floats, quantile: float) -> Forecast:
    # Fieller: days t at which (gap - slope t)^2 is within q^2 of its own variance.
    square = quantile**2
    a = slope**2 - square * covariance[1, 1]
    b = -2.0 * (gap * slope + square * covariance[0, 1])
    c = gap**2 - square * covariance[0, 0]
    root = np.sqrt(max(b * b - 4.0 * a * c, 0.0))
    earliest = max((-b - root) / (2.0 * a), 0.0) if a > 0.0 else 0.0
    latest = (-b + root) / (2.0 * a) if a > 0.0 else float("inf")
    return Forecast(gap / slope, float(earliest), float(latest))
