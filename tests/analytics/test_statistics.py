"""Model statistics against hand-worked cases, certified data sets and another library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.tsa.stattools import acf

from analytics.statistics import cv_rmse, effective_samples, lag_one_correlation, nmbe, power_law_fit

# Ten toy values, worked apart from this code, p = 2.
OBSERVED = [10.0, 12.0, 14.0, 11.0, 13.0, 15.0, 9.0, 16.0, 12.0, 14.0]
PREDICTED = [10.5, 11.5, 14.2, 11.2, 12.6, 15.3, 9.4, 15.5, 12.3, 13.9]

# NIST StRD, nonlinear regression, data set DanWood: energy radiated by a filament, a power law.
DANWOOD_X = [1.309, 1.471, 1.490, 1.565, 1.611, 1.680]
DANWOOD_Y = [2.138, 3.421, 3.597, 4.340, 4.882, 5.660]


def test_toy_case_by_hand():
    # sum of squares 1.34 over 8 degrees of freedom and a mean of 12.6: ASHRAE Guideline 14 with n - p.
    assert cv_rmse(OBSERVED, PREDICTED, 2) == pytest.approx(0.032482, abs=5e-7)
    assert nmbe(OBSERVED, PREDICTED, 2) == pytest.approx(-0.003968, abs=5e-7)


def test_toy_case_over_all_values_is_the_other_convention():
    assert cv_rmse(OBSERVED, PREDICTED, 0) == pytest.approx(0.029052, abs=5e-7)
    assert nmbe(OBSERVED, PREDICTED, 0) == pytest.approx(-0.003175, abs=5e-7)


def test_a_model_that_reads_low_has_a_positive_bias():
    assert nmbe([2.0, 2.0, 2.0], [1.0, 1.0, 1.0], 0) == 0.5


@given(scale=st.floats(1e-6, 1e6))
def test_both_are_free_of_the_unit(scale):
    observed, predicted = np.multiply(OBSERVED, scale), np.multiply(PREDICTED, scale)
    assert cv_rmse(observed, predicted, 2) == pytest.approx(cv_rmse(OBSERVED, PREDICTED, 2))
    assert nmbe(observed, predicted, 2) == pytest.approx(nmbe(OBSERVED, PREDICTED, 2))


@pytest.mark.parametrize("statistic", [cv_rmse, nmbe])
def test_what_cannot_be_said_is_nan(statistic):
    assert np.isnan(statistic([1.0, np.nan], [1.0, 1.0], 0))
    assert np.isnan(statistic([1.0, 2.0], [1.0, 2.0], 2))
    assert np.isnan(statistic([-1.0, 1.0], [0.0, 0.0], 0))
    assert np.isnan(statistic([], [], 0))
    with pytest.raises(ValueError, match=r"\(2,\) and \(3,\)"):
        statistic([1.0, 2.0], [1.0, 2.0, 3.0], 0)


@pytest.mark.parametrize(
    ("count", "lag_one", "effective"), [(12, 0.0, 12.0), (365, 0.5, 121.67), (8760, 0.9, 461.05)]
)
def test_effective_samples_of_guideline_14(count, lag_one, effective):
    # n (1 - r) / (1 + r) of ASHRAE Guideline 14, worked by hand to two decimals.
    assert effective_samples(count, lag_one) == pytest.approx(effective, abs=0.005)


@given(count=st.integers(1, 10**6), lag_one=st.floats(-1.0, 1.0))
def test_effective_samples_are_never_more_than_were_taken(count, lag_one):
    assert 0.0 <= effective_samples(count, lag_one) <= count


def test_effective_samples_carry_gaps():
    assert np.isnan(effective_samples([np.nan, 5.0], [0.1, np.nan])).all()


NUMACC1 = np.array([10_000_001.0, 10_000_003.0, 10_000_002.0])
NUMACC2 = np.concatenate(([1.2], np.tile([1.1, 1.3], 500)))


# NIST StRD univariate sets NumAcc1 and NumAcc2: certified lag-1 autocorrelation -0.5 and -0.999.
@pytest.mark.parametrize(("values", "certified"), [(NUMACC1, -0.5), (NUMACC2, -0.999)])
def test_lag_one_correlation_is_certified(values, certified):
    assert lag_one_correlation(values) == pytest.approx(certified, rel=1e-9)


@given(values=st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=60).filter(lambda v: np.ptp(v) > 1e-3))
def test_lag_one_correlation_is_that_of_statsmodels(values):
    assert lag_one_correlation(values) == pytest.approx(acf(values, nlags=1, fft=False)[1], abs=1e-9)


def test_lag_one_correlation_needs_a_series_that_moves():
    assert np.isnan(lag_one_correlation([1.0, 2.0]))
    assert np.isnan(lag_one_correlation([3.0, 3.0, 3.0]))
    assert np.isnan(lag_one_correlation([1.0, np.nan, 2.0]))


@pytest.mark.parametrize("start", [(1.0, 5.0), (0.7, 4.0)])
def test_power_law_on_danwood(start):
    # Certified values to 11 digits; starts 1 and 2 of the data set. Eight digits are asked of the
    # estimates and six of their deviations, as is usual for a nonlinear solver.
    fit = power_law_fit(DANWOOD_X, DANWOOD_Y, start)
    assert fit.coefficient == pytest.approx(7.6886226176e-01, rel=1e-8)
    assert fit.exponent == pytest.approx(3.8604055871e00, rel=1e-8)
    assert fit.coefficient_sd == pytest.approx(1.8281973860e-02, rel=1e-6)
    assert fit.exponent_sd == pytest.approx(5.1726610913e-02, rel=1e-6)
    assert fit.residual_sum_of_squares == pytest.approx(4.3173084083e-03, rel=1e-8)
    assert fit.residual_sd == pytest.approx(3.2853114039e-02, rel=1e-8)
    assert fit.degrees_of_freedom == 4


@given(coefficient=st.floats(0.01, 1e5), exponent=st.floats(0.5, 4.0))
def test_a_planted_power_comes_back(coefficient, exponent):
    x = np.linspace(0.3, 1.0, 15)
    fit = power_law_fit(x, coefficient * x**exponent)
    assert fit.coefficient == pytest.approx(coefficient, rel=1e-6)
    assert fit.exponent == pytest.approx(exponent, abs=1e-6)


def test_a_power_law_is_refused_what_it_cannot_have():
    with pytest.raises(ValueError, match="at least 3 pairs, got 2"):
        power_law_fit([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="positive x"):
        power_law_fit([0.0, 1.0, 2.0], [0.0, 1.0, 4.0])
    with pytest.raises(ValueError, match="finite"):
        power_law_fit([1.0, 2.0, 3.0], [1.0, np.nan, 9.0])
