"""A day's information and mixtures against dense algebra and scipy."""

import numpy as np
import pytest
from scipy.stats import norm

from analytics.information import day_information, hour_precision
from analytics.mixtures import bounds


def test_information_is_that_of_dense_generalised_least_squares() -> None:
    rng = np.random.default_rng(1)
    hours, parameters = 7, 3
    slopes = rng.normal(size=(1, hours, 2, parameters))
    residuals = rng.normal(size=(1, hours, 2))
    hour = np.array([[[2.0, 0.3], [0.3, 1.0]]])
    day = np.array([[[0.5, 0.1], [0.1, 0.2]]])
    precision = hour_precision(hour, np.ones((1, hours, 2)), np.ones((1, hours, 2)))
    information, pull = day_information(slopes, residuals, precision, day)
    dense = np.kron(np.eye(hours), hour[0]) + np.kron(np.ones((hours, hours)), day[0])
    design = slopes[0].reshape(2 * hours, parameters)
    assert information[0] == pytest.approx(design.T @ np.linalg.solve(dense, design), rel=1e-9)
    assert pull[0] == pytest.approx(design.T @ np.linalg.solve(dense, residuals[0].ravel()), rel=1e-9)


def test_an_hour_that_does_not_count_says_nothing() -> None:
    slopes, residuals = np.ones((1, 2, 2, 1)), np.ones((1, 2, 2))
    counted = np.array([[[1.0, 1.0], [0.0, 0.0]]])
    precision = hour_precision(np.eye(2)[None], counted, np.ones((1, 2, 2)))
    information, pull = day_information(slopes, residuals, precision, np.zeros((1, 2, 2)))
    assert information[0, 0, 0] == pytest.approx(2.0)
    assert pull[0, 0] == pytest.approx(2.0)


def test_bounds_of_one_normal_are_its_quantiles() -> None:
    low, high = bounds(np.ones((1, 1)), np.array([[3.0]]), np.array([[0.5]]))
    assert (low[0], high[0]) == pytest.approx(norm.interval(0.95, 3.0, 0.5), rel=1e-9)


def test_bounds_of_a_mixture_hold_the_share_asked_for() -> None:
    weight, mean, deviation = np.array([[0.7, 0.3]]), np.array([[0.0, 4.0]]), np.array([[1.0, 0.5]])
    low, high = bounds(weight, mean, deviation, share=0.9)

    def below(value: float) -> float:
        return float((weight[0] * norm.cdf((value - mean[0]) / deviation[0])).sum())

    assert below(low[0]) == pytest.approx(0.05, abs=1e-9)
    assert below(high[0]) == pytest.approx(0.95, abs=1e-9)


def test_a_bound_does_not_move_when_the_number_it_starts_from_is_the_bound() -> None:
    # All parts alike: the first guess is the bound, and no step from it is left to halve.
    weight, mean, deviation = np.full((1, 3), 1.0 / 3.0), np.full((1, 3), 2.0), np.full((1, 3), 0.25)
    low, high = bounds(weight, mean, deviation)
    assert (low[0], high[0]) == pytest.approx(norm.interval(0.95, 2.0, 0.25), rel=1e-14)
