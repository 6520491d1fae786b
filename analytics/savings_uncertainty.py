"""How unsure is a saving by the form that the trade's guideline gives, and by drawing days again?"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from analytics.arrays import Floats, as_floats
from analytics.savings import Belief, PeriodHours, day_sums, fit_period
from analytics.statistics import effective_samples

_DAILY: Final = (-0.00024, 0.03535, 1.00286)
_BILLING: Final = (-0.00022, 0.03306, 0.94054)
PLAIN: Final = 1.26


def fractional_savings_uncertainty(
    t_value: ArrayLike,
    cv: ArrayLike,
    before: ArrayLike,
    after: ArrayLike,
    correlation: ArrayLike,
    fraction: ArrayLike,
    factor: ArrayLike = PLAIN,
) -> Floats:
    """Half-width of a saving's interval over the saving.

    Parameters: `t_value` of the confidence; `cv`, CV(RMSE) of the regression of the time before [-];
    `before` and `after`, how many readings (days, hours) [-]; `correlation` of residuals one step apart;
    `fraction` saved of the adjusted energy [-]; `factor`, 1.26 or `regression_factor`; all broadcast.
    Returns: uncertainty over saving [-]; infinite where nothing is saved.
    Equation: a t CV sqrt((n / n') (1 + 2 / n') / m) / F, n' = n (1 - r) / (1 + r).
    Validity: the regression's own form is right; the same instruments before and after.
    Source: ASHRAE Guideline 14, annex on uncertainty (1.26 from memory), as in the open measurement methods
    CalTRACK 2.0, section 4.3.2.
    """
    n = as_floats(before)
    worth = effective_samples(n, correlation)
    spread = np.sqrt(n / worth * (1.0 + 2.0 / worth) / as_floats(after))
    with np.errstate(divide="ignore"):
        return as_floats(factor) * as_floats(t_value) * as_floats(cv) * spread / np.abs(as_floats(fraction))


def regression_factor(months: ArrayLike, is_billing: bool = False) -> Floats:
    """The guideline's 1.26 as a polynomial in the length of the time after.

    Parameters: `months` of the time after [-]; `is_billing` for monthly bills in place of daily readings.
    Returns: factor [-].
    Equation: a M^2 + b M + d. Source: Sun and Baltazar, as in CalTRACK 2.0, section 4.3.2.4.
    """
    a, b, d = _BILLING if is_billing else _DAILY
    m = as_floats(months)
    return a * np.square(m) + b * m + d


@dataclass(frozen=True, slots=True)
class Drawn:
    """Savings found again from days drawn anew: `fractions` (draws,), in order; `block` in days."""

    fractions: Floats
    block: int

    def interval(self, confidence: float) -> tuple[float, float]:
        """Return the two-sided percentile interval; `confidence` as a fraction."""
        tails = (0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence)
        low, high = np.quantile(self.fractions, tails)
        return float(low), float(high)


def draw_savings(
    before: PeriodHours,
    after: PeriodHours,
    belief: Belief,
    rng: np.random.Generator,
    draws: int = 2000,
) -> Drawn:
    """Draw blocks of neighbouring days again, from before and after, and find the saving each time.

    The slopes are those of the whole period before: what is drawn again is the days.

    Parameters: as for `analytics.savings.saving`; `rng`, so that the same data give the same answer; `draws`.
    Returns: `Drawn`.
    Equation: circular block bootstrap; block of D^(1/3) days, longer where neighbouring days are alike.
    Validity: percentiles are somewhat narrow below three weeks a period.
    Source: Politis and Romano's circular blocks, as in any text on the bootstrap (from memory).
    """
    first = fit_period(before, belief)
    rest = after.noisy_log_power - first.level - after.terms @ first.slopes
    block = _block(min(first.days, len(np.unique(after.day))), first.correlation)
    kw = before.power_kw
    base = _ratios(first.residual * kw, kw, before.day, _counts(first.days, block, rng, draws))
    days = len(np.unique(after.day))
    gone = _ratios(rest * after.power_kw, after.power_kw, after.day, _counts(days, block, rng, draws))
    return Drawn(np.sort(-np.expm1(gone - base)), block)


def _ratios(values: Floats, weights: Floats, day: Floats, counts: Floats) -> Floats:
    return np.asarray((counts @ day_sums(values, day)) / (counts @ day_sums(weights, day)))


def _block(days: int, correlation: float) -> int:
    plain = days ** (1.0 / 3.0)
    longer = 1.0 + 2.0 * correlation / (1.0 - correlation)
    return int(np.clip(round(plain * longer ** (1.0 / 3.0)), 1, max(days // 4, 1)))


def _counts(days: int, block: int, rng: np.random.Generator, draws: int) -> Floats:
    starts = rng.integers(0, days, size=(draws, -(-days // block)))
    drawn = ((starts[:, :, None] + np.arange(block)) % days).reshape(draws, -1)[:, :days]
    counts = np.zeros((draws, days))
    np.add.at(counts, (np.arange(draws)[:, None], drawn), 1.0)
    return counts


def t_value(confidence: ArrayLike, freedom: ArrayLike) -> Floats:
    """Two-sided quantile of Student's t; `confidence` as a fraction."""
    return np.asarray(student.ppf(0.5 + 0.5 * as_floats(confidence), as_floats(freedom)))
