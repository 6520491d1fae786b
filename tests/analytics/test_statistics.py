"""Model statistics against hand-worked cases, certified data sets and another library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics import cv_rmse, effective_samples, nmbe

# Ten toy values, worked apart from this code, p = 2.
OBSERVED = [10.0, 12.0, 14.0, 11.0, 13.0, 15.0, 9.0, 16.0, 12.0, 14.0]
PREDICTED = [10.5, 11.5, 14.2, 11.2, 12.6, 15.3, 9.4, 15.5, 12.3, 13.9]


def test_the_statistics_are_those_worked_by_hand():
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
