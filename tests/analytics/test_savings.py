"""Savings and their uncertainty, against published forms, another library's regression and planted truths."""

import numpy as np
import pytest
import statsmodels.api as sm

from analytics.savings import (
    MODEL_SD,
    Belief,
    PeriodHours,
    day_correlation,
    days_to_decide,
    fit_period,
    long_run,
    saving,
    step_within,
)
from analytics.savings_uncertainty import (
    draw_savings,
    fractional_savings_uncertainty,
    regression_factor,
    t_value,
)

OPEN = Belief(np.array([1e3, 1e3]), np.zeros((2, 2)))
HOURS = 10


def period(
    seed: int, level: float, days: int = 30, correlation: float = 0.0, noise: float = 0.02
) -> PeriodHours:
    """Hours whose log power follows two terms, with errors alike from day to day."""
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(days), HOURS).astype(float)
    terms = rng.normal(0.0, 0.3, (len(day), 2))
    shared = np.zeros(days)
    for k in range(days):
        before = shared[k - 1] if k else 0.0
        shared[k] = correlation * before + np.sqrt(1.0 - correlation**2) * rng.normal()
    y = (
        level
        + terms @ np.array([0.1, -0.05])
        + noise * shared[day.astype(int)]
        + 0.01 * rng.normal(size=len(day))
    )
    return PeriodHours(day, np.exp(y + terms[:, 0]), y, y, terms)


@pytest.mark.parametrize(
    ("confidence", "freedom", "cv", "days", "correlation", "fraction", "expected"),
    [
        (0.90, 1e9, 0.10, 12, 0.0, 0.10, 0.6462),
        (0.90, 363, 0.10, 365, 0.5, 0.10, 0.1899),
        (0.68, 363, 0.20, 365, 0.5, 0.10, 0.2294),
        (0.90, 1e9, 0.20, 8760, 0.9, 0.05, 0.3870),
    ],
)
def test_the_guideline_s_form_gives_its_cases(
    confidence: float,
    freedom: float,
    cv: float,
    days: int,
    correlation: float,
    fraction: float,
    expected: float,
) -> None:
    # Cases worked from the form of ASHRAE Guideline 14 with 1.26, apart from this code.
    t = t_value(confidence, freedom)
    found = fractional_savings_uncertainty(t, cv, days, days, correlation, fraction)
    assert float(found) == pytest.approx(expected, rel=1e-3)


def test_the_polynomial_gives_the_published_factors_for_a_year() -> None:
    # Sun and Baltazar's coefficients as in CalTRACK 2.0, section 4.3.2.4.
    assert float(regression_factor(12.0)) == pytest.approx(1.39250, abs=1e-5)
    assert float(regression_factor(12.0, is_billing=True)) == pytest.approx(1.30558, abs=1e-5)
    t = t_value(0.90, 363)
    found = fractional_savings_uncertainty(t, 0.10, 365, 365, 0.5, 0.10, regression_factor(12.0))
    assert float(found) == pytest.approx(0.2099, rel=1e-3)


@pytest.mark.parametrize(("freedom", "expected"), [(5, 2.0150), (10, 1.8125), (30, 1.6973), (100, 1.6602)])
def test_quantiles_are_those_of_student_s_table(freedom: int, expected: float) -> None:
    # Any table of Student's t, 0.95 one-sided.
    assert float(t_value(0.90, freedom)) == pytest.approx(expected, abs=1e-4)


def test_with_nothing_believed_beforehand_the_slopes_are_those_of_least_squares() -> None:
    hours = period(1, 0.2)
    told = sm.OLS(hours.log_power, sm.add_constant(hours.terms)).fit()
    found = fit_period(hours, OPEN)
    assert np.average(found.residual, weights=hours.power_kw) == pytest.approx(0.0, abs=1e-12)
    assert found.slopes == pytest.approx(told.params[1:], abs=1e-6)


def test_without_day_to_day_correlation_slopes_are_as_unsure_as_another_library_says_by_days() -> None:
    hours = period(2, 0.2, days=200)
    told = sm.OLS(hours.log_power, sm.add_constant(hours.terms)).fit(
        cov_type="cluster", cov_kwds={"groups": hours.day, "use_correction": False}
    )
    found = fit_period(hours, OPEN)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(
        told.bse[1:] * np.sqrt(long_run(found.correlation)), rel=0.02
    )


def test_the_guideline_s_form_stands_near_least_squares_own_prediction_interval() -> None:
    # Uncorrelated days, no saving's own noise but the days': the form's approximation is known to be near.
    before, after = period(3, 0.0, days=60), period(4, -0.1, days=60)
    found = saving(before, after, OPEN)
    daily = np.array([before.log_power[before.day == d].mean() for d in range(60)])
    cv = daily.std(ddof=3)
    usual = fractional_savings_uncertainty(
        t_value(0.9, 57), cv, 60, 60, found.correlation, found.fraction, regression_factor(2.0)
    )
    low, high = found.interval(0.9)
    assert 0.5 * (high - low) / found.fraction == pytest.approx(float(usual), rel=0.5)


@pytest.mark.parametrize("correlation", [0.0, 0.6])
def test_intervals_hold_a_planted_saving_as_often_as_they_say(correlation: float) -> None:
    truth = 1.0 - np.exp(-0.05)
    held = []
    for seed in range(200):
        before = period(2 * seed, 0.3, correlation=correlation)
        after = period(2 * seed + 1, 0.25, correlation=correlation)
        low, high = saving(before, after, OPEN).interval(0.9)
        held.append(low <= truth <= high)
    assert 0.84 <= np.mean(held) <= 0.96


def test_a_slope_that_noise_can_feign_is_not_followed() -> None:
    hours = period(5, 0.0)
    blind = Belief(np.array([0.05, 0.05]), 100.0 * np.eye(2))
    assert np.abs(fit_period(hours, blind).slopes).max() < 1e-4


def test_no_number_of_days_makes_a_saving_surer_than_what_stays_open() -> None:
    found = saving(period(6, 0.3), period(7, 0.25), OPEN)
    assert found.log_sd >= MODEL_SD
    assert days_to_decide(found, found.fraction, 0.9) is None
    assert days_to_decide(found, found.fraction - 10.0 * found.log_sd, 0.9) == 0


def first_days(hours: PeriodHours, days: int) -> PeriodHours:
    kept = hours.day < days
    return PeriodHours(*(getattr(hours, name)[kept] for name in PeriodHours.__slots__))


def test_after_as_many_more_days_as_it_says_a_saving_is_decided_more_often_than_not_and_rightly() -> None:
    truth, asked, decided, wrong = 1.0 - np.exp(-0.05), 0, 0, 0
    for seed in range(100):
        before, after = period(2 * seed + 5000, 0.3, days=90), period(2 * seed + 5001, 0.25, days=170)
        more = days_to_decide(saving(before, first_days(after, 10), OPEN), truth - 0.012, 0.9, most=150)
        if not more:
            continue
        low, high = saving(before, first_days(after, 10 + more), OPEN).interval(0.9)
        asked += 1
        decided += not low < truth - 0.012 < high
        wrong += high < truth - 0.012
    assert asked >= 20
    assert decided >= 0.5 * asked
    assert wrong <= 1


def test_more_days_like_these_leave_what_the_time_before_leaves_open() -> None:
    found = saving(period(6, 0.3), period(7, 0.25), OPEN)
    later = found.after_more(90)
    assert later.after_sd == pytest.approx(0.5 * found.after_sd)
    assert (later.before_sd, later.standing_sd) == (found.before_sd, found.standing_sd)
    assert later.reach(0.9) < found.reach(0.9)


def test_hours_alike_before_and_after_give_the_change_whatever_grows_with_load() -> None:
    # A loss in proportion to power that no slope follows: slopes are believed to be nothing.
    hours = period(11, 0.0)
    grown = hours.log_power + 0.1 * hours.power_kw / hours.power_kw.max()
    before = PeriodHours(hours.day, hours.power_kw, grown, grown, hours.terms)
    after = PeriodHours(hours.day, 0.9 * hours.power_kw, grown - 0.1, grown - 0.1, hours.terms)
    shut = Belief(np.array([1e-6, 1e-6]), np.eye(2))
    assert saving(before, after, shut).fraction == pytest.approx(1.0 - np.exp(-0.1), abs=1e-9)


def test_a_step_within_a_period_is_dated_and_an_even_period_has_none() -> None:
    even = period(12, 0.3)
    stepped = even.log_power + np.where(even.day >= 18, 0.06, 0.0)
    moved = PeriodHours(even.day, even.power_kw, stepped, stepped, even.terms)
    plain, found = (step_within(fit_period(hours, OPEN), even.day) for hours in (even, moved))
    assert plain is not None
    assert abs(plain.rise) < 4.0 * plain.sd
    assert found is not None
    assert found.day == 18.0
    assert found.rise == pytest.approx(0.06, abs=0.02)
    assert found.rise > 4.0 * found.sd
    assert step_within(fit_period(first_days(even, 9), OPEN), first_days(even, 9).day) is None


def test_the_standing_part_widens_the_interval() -> None:
    before, after = period(6, 0.3), period(7, 0.25)
    plain, wide = saving(before, after, OPEN), saving(before, after, OPEN, standing_sd=0.05)
    assert wide.log_sd == pytest.approx(np.hypot(plain.log_sd, 0.05), rel=1e-9)
    assert wide.fraction == plain.fraction


def test_days_drawn_again_say_about_the_same_and_the_same_each_time() -> None:
    before, after = period(8, 0.3), period(9, 0.25)
    found = saving(before, after, OPEN)
    drawn = [draw_savings(before, after, OPEN, np.random.default_rng(3)) for _ in range(2)]
    assert np.array_equal(drawn[0].fractions, drawn[1].fractions)
    ends, again = found.interval(0.9), drawn[0].interval(0.9)
    assert again[1] - again[0] == pytest.approx(ends[1] - ends[0], rel=0.45)
    assert drawn[0].fractions.mean() == pytest.approx(found.fraction, abs=0.003)


def test_day_to_day_correlation_is_found_and_few_days_have_none() -> None:
    hours = period(10, 0.0, days=400, correlation=0.7, noise=0.05)
    residual = hours.log_power - hours.terms @ np.array([0.1, -0.05])
    assert day_correlation(residual, hours.day) == pytest.approx(0.7, abs=0.12)
    assert day_correlation(residual[:30], hours.day[:30]) == 0.0
