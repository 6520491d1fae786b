"""The numbers of a retrofit check, from two periods made comparable."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.compared_hours import AirHours, Basis, Compared, Meter, compare
from analytics.curves import HealthyCurves
from analytics.read_power import motor_doubt
from analytics.savings import Saving, day_sums, saving
from analytics.savings_uncertainty import (
    draw_savings,
    fractional_savings_uncertainty,
    regression_factor,
    t_value,
)
from service.retrofit.readings import PeriodReadings

CONFIDENCES: Final = (68.0, 90.0, 95.0)
_DAYS_A_MONTH: Final = 30.4
_SEED: Final = 20_250_301


@dataclass(frozen=True, slots=True)
class Part:
    """A power [kW] with the interval of the confidence asked for."""

    kw: float
    low_kw: float
    high_kw: float


@dataclass(frozen=True, slots=True)
class Spread:
    """One confidence: the saving's interval [%] by days, by Guideline 14's form, by days drawn again."""

    confidence: float
    low_pct: float
    high_pct: float
    fractional: float
    guideline_fractional: float
    drawn_low_pct: float
    drawn_high_pct: float


@dataclass(frozen=True, slots=True)
class GuidelineFacts:
    """What Guideline 14's form rests on: daily CV(RMSE), day-to-day correlation, days and days worth."""

    cv: float
    correlation: float
    days_before: int
    worth: float
    days_after: int
    factor: float
    block_days: int


@dataclass(frozen=True, slots=True)
class Figures:
    """What a change saved at the air of the time after it; powers means of the hours used [kW].

    `restored` of it came from putting the old drive in order, `renewed` from the new one, None where the
    healthy period cannot tell; `mean_before_kw` and `mean_after_kw` as the meter shows them;
    `same_command_pct` by which power moved at the same command, None where the command does not overlap.
    """

    compared: Compared
    found: Saving
    adjusted_kw: float
    after_kw: float
    saving_kw: float
    saving_pct: float
    low_pct: float
    high_pct: float
    spreads: tuple[Spread, ...]
    guideline: GuidelineFacts
    restored: Part | None
    renewed: Part | None
    mean_before_kw: float
    mean_after_kw: float
    same_command_pct: float | None
    hours_before: int
    hours_after: int


@dataclass(frozen=True, slots=True)
class Work:
    """What the figures are made of: both periods, the curves, the meter, the basis."""

    before: PeriodReadings
    after: PeriodReadings
    curves: HealthyCurves
    meter: Meter
    basis: Basis


def compared_of(work: Work, before: PeriodReadings | None = None) -> Compared | None:
    """Make the hours of two periods comparable; `before` in place of the work's own."""
    first = work.before if before is None else before
    if not len(first.air.day) or not len(work.after.air.day):
        return None
    return compare(first.air, work.after.air, work.curves, work.meter, work.basis)


def figures_of(work: Work, compared: Compared, healthy: PeriodReadings | None, confidence: float) -> Figures:
    """Work out the figures at a confidence [%]."""
    found = _saving(work, work.before, compared)
    low, high = found.interval(confidence / 100.0)
    restored, renewed = _parts(work, compared, found, healthy, confidence)
    rng = np.random.default_rng(_SEED)
    drawn = draw_savings(compared.before, compared.after, compared.belief, rng)
    guideline = _guideline(compared, found, drawn.block)
    freedom = max(guideline.worth - compared.before.terms.shape[1] - 1.0, 3.0)
    spreads = tuple(
        _spread(one, found, guideline, freedom, drawn.interval(one / 100.0))
        for one in sorted({*CONFIDENCES, confidence})
    )
    air = work.before.air
    return Figures(
        compared,
        found,
        found.adjusted_kw,
        found.after_kw,
        found.adjusted_kw - found.after_kw,
        100.0 * found.fraction,
        100.0 * low,
        100.0 * high,
        spreads,
        guideline,
        restored,
        renewed,
        float(air.power_kw.mean()),
        float(work.after.air.power_kw.mean()),
        _same_command(air, work.after.air),
        len(compared.before.day),
        len(compared.after.day),
    )


def _spread(
    confidence: float,
    found: Saving,
    guideline: GuidelineFacts,
    freedom: float,
    drawn: tuple[float, float],
) -> Spread:
    """Say how sure a saving is at a confidence [%]; `drawn` is its interval over days drawn again."""
    share = confidence / 100.0
    low, high = found.interval(share)
    by_guideline = fractional_savings_uncertainty(
        t_value(share, freedom),
        guideline.cv,
        guideline.days_before,
        guideline.days_after,
        guideline.correlation,
        found.fraction,
        guideline.factor,
    )
    fractional = 0.5 * (high - low) / abs(found.fraction) if found.fraction else float("inf")
    return Spread(
        confidence, 100 * low, 100 * high, fractional, float(by_guideline), 100 * drawn[0], 100 * drawn[1]
    )


def _saving(work: Work, before: PeriodReadings, compared: Compared) -> Saving:
    pairs = [(one.load, one.air.speed) for one in (before, work.after)]
    doubt = motor_doubt(compared, pairs[0], pairs[1], work.curves, work.meter)
    return saving(compared.before, compared.after, compared.belief, doubt)


def _parts(
    work: Work, compared: Compared, found: Saving, healthy: PeriodReadings | None, confidence: float
) -> tuple[Part | None, Part | None]:
    """Split the saving at what the healthy period's drive would have drawn in the hours after."""
    if healthy is None:
        return None, None
    other = compared_of(work, healthy)
    if other is None or other.share_inside < 0.5 or len(other.before.day) < len(compared.before.day) // 4:
        return None, None
    healthy_saving = _saving(work, healthy, other)
    reach = float(t_value(confidence / 100.0, min(found.freedom, healthy_saving.freedom)))
    after_kw = found.after_kw
    healthy_kw = after_kw / (1.0 - healthy_saving.fraction)
    restored = found.adjusted_kw - healthy_kw
    apart = reach * healthy_kw * float(np.hypot(_left_by(found), _left_by(healthy_saving)))
    renewed = healthy_kw - after_kw
    wide = reach * healthy_kw * healthy_saving.log_sd
    return (
        Part(restored, restored - apart, restored + apart),
        Part(renewed, renewed - wide, renewed + wide),
    )


def _left_by(found: Saving) -> float:
    return float(np.hypot(found.before_sd, found.standing_sd))


def _guideline(compared: Compared, found: Saving, block: int) -> GuidelineFacts:
    hours = compared.before
    means = day_sums(found.before.residual, hours.day) / day_sums(np.ones(len(hours.day)), hours.day)
    days, parameters = len(means), hours.terms.shape[1] + 1
    cv = float(np.sqrt(np.sum(np.square(means)) / max(days - parameters, 1)))
    correlation = found.before.correlation
    return GuidelineFacts(
        cv,
        correlation,
        days,
        days * (1.0 - correlation) / (1.0 + correlation),
        found.after.days,
        float(regression_factor(found.after.days / _DAYS_A_MONTH)),
        block,
    )


def _same_command(before: AirHours, after: AirHours) -> float | None:
    low, high = _ends(before.speed)
    inside = (after.speed >= low - 0.01) & (after.speed <= high + 0.01)
    if inside.sum() < 24:
        return None
    shift = float(np.mean(np.log(before.speed)))
    x, y = np.log(before.speed) - shift, np.log(before.power_kw)
    spread = float(np.mean(np.square(x)))
    slope = float(np.mean(x * y)) / spread if spread > 1e-5 else 0.0
    gone = np.log(after.power_kw[inside]) - y.mean() - slope * (np.log(after.speed[inside]) - shift)
    return 100.0 * float(np.expm1(gone.mean()))


def _ends(values: Floats) -> tuple[float, float]:
    low, high = np.percentile(values, (1.0, 99.0))
    return float(low), float(high)
