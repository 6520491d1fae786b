"""Slip follows torque over tension: straight below the knee, steep above it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.slip_law import CREEP_GROWTH, MOST_SLIP, mean_slip_above_creep, slip_above_creep

SLIPS = st.floats(0.0005, 0.3)
STEEPNESSES = st.floats(-3.0, 0.6)


def _slip(load_ratio: float, slip: float, steepness: float) -> float:
    return float(slip_above_creep(np.array(load_ratio), np.array(slip), np.array(steepness))[0])


@given(st.floats(-0.2, 0.3), STEEPNESSES)
def test_at_the_reference_torque_the_belt_slips_by_its_own_number(slip: float, steepness: float) -> None:
    assert _slip(1.0, slip, steepness) == pytest.approx(slip, abs=1e-9)


@given(SLIPS, STEEPNESSES)
def test_far_below_the_knee_slip_is_straight_and_no_more_than_grown_creep(
    slip: float, steepness: float
) -> None:
    knee = 1.0 - slip / np.exp(steepness)
    load = min(0.3, knee - 0.8)
    if load > 0.02:
        found = _slip(load, slip, steepness)
        assert found <= CREEP_GROWTH * load + 1e-4
        assert found == pytest.approx(0.5 * _slip(2.0 * load, slip, steepness), abs=2e-4)


@given(st.floats(0.15, 0.3), st.floats(-1.6, -1.2))
def test_far_above_the_knee_slip_grows_by_its_steepness(slip: float, steepness: float) -> None:
    # Closed form: the rounded kink is a straight line a few widths past it.
    grown = (_slip(1.05, slip, steepness) - _slip(0.95, slip, steepness)) / 0.1
    assert grown == pytest.approx(np.exp(steepness) + CREEP_GROWTH, rel=0.02)


@given(st.floats(0.05, 1.3), SLIPS, STEEPNESSES)
def test_the_slope_told_is_the_slope(load: float, slip: float, steepness: float) -> None:
    _, slope = slip_above_creep(np.array(load), np.array(slip), np.array(steepness))
    step = 1e-6
    rise = (_slip(load + step, slip, steepness) - _slip(load - step, slip, steepness)) / (2 * step)
    assert float(slope) == pytest.approx(rise, rel=1e-4, abs=1e-7)


@given(st.floats(0.05, 1.3), STEEPNESSES)
def test_a_belt_tighter_than_in_its_healthy_period_slips_less_in_proportion(
    load: float, steepness: float
) -> None:
    assert _slip(load, -0.01, steepness) == pytest.approx(-0.01 * load, abs=1e-9)


@given(st.floats(0.05, 1.3), STEEPNESSES)
def test_a_looser_belt_slips_more_at_every_torque(load: float, steepness: float) -> None:
    found = [_slip(load, slip, steepness) for slip in (0.001, 0.01, 0.03, 0.1)]
    assert found == sorted(found)


def test_a_mean_over_hours_is_that_of_the_law_hour_by_hour() -> None:
    load_ratio, share = np.array([[0.3, 0.8, 1.2]]), np.array([[0.2, 0.3, 0.5]])
    slip, steepness = np.array([[-0.02, 0.0, 0.004, 0.05, 3.0]]), np.array([[-1.0, -1.0, -3.5, 0.7, -3.5]])
    at_hours, _ = slip_above_creep(load_ratio[:, None], slip[..., None], steepness[..., None])
    found = mean_slip_above_creep(load_ratio, share, slip, steepness)
    np.testing.assert_allclose(found, (share[:, None] * at_hours).sum(axis=2), rtol=1e-13, atol=1e-18)
    assert found[0, 1] == 0.0
    assert found[0, -1] == pytest.approx(MOST_SLIP)
