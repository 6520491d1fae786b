"""Speed, torque and current of motors against a measured motor, published tables and another library."""

from pathlib import Path

import numpy as np
import pytest
from fluids import pump
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import horsepower

from analytics.motor import (
    current_from_torque_fraction,
    flux_fraction,
    no_load_fraction_prior,
    poles_for,
    rated_slip,
    synchronous_rpm,
    torque_fraction_from_current,
)

HP = horsepower
RATED_W, RATED_A, NO_LOAD_A, VOLTS = 18_500.0, 32.85, 11.0, 400.0

sizes = st.floats(300.0, 400_000.0)
fluxes = st.floats(0.2, 1.0)


@pytest.fixture(scope="module")
def measured_motor():
    # Haumer et al., Modelica Conference 2009; see data/README.md.
    path = Path(__file__).parent / "data" / "measured_motor.csv"
    return np.genfromtxt(path, delimiter=",", names=True)


def test_quadrature_on_the_measured_motor(measured_motor):
    load = measured_motor["shaft_w"] / RATED_W
    seen = torque_fraction_from_current(measured_motor["current_a"], RATED_A, NO_LOAD_A)
    is_stated_range = (load >= 0.19) & (load <= 1.1)
    assert is_stated_range.sum() == 11
    assert np.abs(seen - load)[is_stated_range].max() < 0.017
    # At the two ends it is exact by construction; at 29 % load the plain ratio is 13 points too high.
    assert seen[load == 0.0] == 0.0
    assert seen[load == 1.0] == 1.0
    plain = measured_motor["current_a"] / RATED_A - load
    assert plain[np.isclose(load, 0.288, atol=1e-3)] == pytest.approx(0.134, abs=5e-4)


def test_current_of_the_measured_motor(measured_motor):
    torque = measured_motor["shaft_w"] / measured_motor["motor_rpm"] * 1462.0 / RATED_W
    seen = current_from_torque_fraction(torque, RATED_A, NO_LOAD_A)
    # 1.7 % of rated load is at most 1.7 % of rated current, as current rises slower than load.
    is_stated_range = (torque >= 0.19) & (torque <= 1.1)
    assert np.abs(seen - measured_motor["current_a"])[is_stated_range].max() < 0.017 * RATED_A


def test_a_trade_example_of_load_from_current():
    # Energy-management handbook: 20 hp, 16.5 A, 9.3 A no load, 24.0 A nameplate; its own no-load
    # corrected formula (2 I - I0)/(2 Ir - I0) gives 61.2 % and is said to hold from 40 to 100 %.
    assert torque_fraction_from_current(16.5, 24.0, 9.3) == pytest.approx(0.612, abs=0.01)


@pytest.mark.parametrize(
    ("no_load", "currents"),
    [
        (0.25, (1.0, 0.823, 0.668, 0.536, 0.429, 0.348, 0.294)),
        (0.335, (1.0, 0.834, 0.690, 0.570, 0.477, 0.410, 0.367)),
        (0.50, (1.0, 0.861, 0.747, 0.656, 0.589, 0.545, 0.519)),
    ],
)
def test_square_law_fan_at_constant_volts_per_hertz(no_load, currents):
    # Worked apart from this code from the circle diagram: T ~ speed^2, full flux; to a unit
    # of the third decimal.
    speed = np.array([1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4])
    seen = current_from_torque_fraction(np.square(speed), 1.0, no_load, flux_fraction(speed, 0.0))
    np.testing.assert_allclose(seen, currents, atol=1e-3)


@pytest.mark.parametrize(
    ("load", "changes"),
    [(0.70, (-0.031, -0.077, -0.148, -0.272, -0.547)), (0.50, (-0.026, -0.064, -0.122, -0.220, -0.421))],
)
def test_current_falls_with_slip_at_a_fixed_command(load, changes):
    # Worked apart from this code: torque (1-s)^2, I0/Ir of the measured motor; s of 2, 5, 10, 20, 100 %.
    torque = load * np.square(1.0 - np.array([0.0, 0.02, 0.05, 0.10, 0.20, 1.0]))
    current = current_from_torque_fraction(torque, 1.0, NO_LOAD_A / RATED_A)
    np.testing.assert_allclose(current[1:] / current[0] - 1.0, changes, atol=5.1e-4)
    # A lost belt leaves the magnetising current, never none.
    assert current[-1] == pytest.approx(NO_LOAD_A / RATED_A)


def test_the_wrong_flux_curve_misreads_torque():
    # A quadratic drive read as constant V/Hz: 0.448 reads as 0.518 at 80 % speed; a square-law fan's
    # torque at 40 % speed has no real root and so comes out negative.
    current = current_from_torque_fraction([0.448, 0.7 * 0.16], 1.0, 0.335, flux_fraction([0.8, 0.4], 1.0))
    seen = torque_fraction_from_current(current, 1.0, 0.335, flux_fraction([0.8, 0.4], 0.0))
    assert seen[0] == pytest.approx(0.518, abs=5e-4)
    right = torque_fraction_from_current(current, 1.0, 0.335, flux_fraction([0.8, 0.4], 1.0))
    np.testing.assert_allclose(right, [0.448, 0.112], rtol=1e-12)
    low = current_from_torque_fraction(0.16 * 0.3, 1.0, 0.335, 0.4)
    assert torque_fraction_from_current(low, 1.0, 0.335, 1.0) < 0.0


@given(torque=st.floats(-0.1, 1.5), no_load=st.floats(0.2, 0.65), flux=fluxes)
def test_current_and_torque_are_inverses(torque, no_load, flux):
    current = current_from_torque_fraction(torque, 30.0, 30.0 * no_load, flux)
    if current > 0.0:
        back = torque_fraction_from_current(current, 30.0, 30.0 * no_load, flux)
        # The root is steep at no load: rounding of the square is amplified there.
        assert back == pytest.approx(torque, abs=1e-7)


@given(current=st.floats(0.0, 45.0), more=st.floats(0.1, 10.0), no_load=st.floats(0.2, 0.65), flux=fluxes)
def test_more_current_is_more_torque(current, more, no_load, flux):
    low, high = torque_fraction_from_current([current, current + more], 30.0, 30.0 * no_load, flux)
    assert low < high


def test_rated_and_no_load_current_are_the_fixed_points():
    assert torque_fraction_from_current([11.0, 32.85], 32.85, 11.0).tolist() == [0.0, 1.0]
    assert current_from_torque_fraction([0.0, 1.0], 32.85, 11.0) == pytest.approx([11.0, 32.85])
    assert torque_fraction_from_current(0.0, 32.85, 11.0) < 0.0
    # A permanent-magnet motor has no magnetising current: torque is current.
    assert torque_fraction_from_current(7.0, 10.0, 0.0) == pytest.approx(0.7)


def test_impossible_currents_and_gaps_are_gaps():
    assert np.isnan(torque_fraction_from_current(5.0, 10.0, 10.0))
    assert np.isnan(current_from_torque_fraction(0.5, 10.0, 11.0))
    assert np.isnan(current_from_torque_fraction(0.5, 10.0, 4.0, 0.0))
    assert np.isnan(torque_fraction_from_current([np.nan, 5.0], 10.0, [3.0, np.nan])).all()
    assert current_from_torque_fraction(-5.0, 10.0, 4.0) == 0.0


@pytest.mark.parametrize(
    ("speed", "exponent", "flux"),
    [(1.0, 0.0, 1.0), (0.5, 0.0, 1.0), (0.5, 1.0, 0.5), (0.25, 0.5, 0.5), (1.25, 1.0, 0.8), (2.0, 0.0, 0.5)],
)
def test_flux_falls_by_its_law_below_base_frequency_and_inversely_above(speed, exponent, flux):
    assert flux_fraction(speed, exponent) == pytest.approx(flux)


@given(speed=st.floats(0.0, 2.0), exponent=st.floats(0.0, 1.0))
def test_flux_is_never_above_base(speed, exponent):
    assert 0.0 <= flux_fraction(speed, exponent) <= 1.0


@pytest.mark.parametrize(
    ("rpm", "hz", "poles"),
    # Catalogue nameplates, common practice, no source; the 50 Hz one is the measured motor's.
    [
        (3525, 60, 2),
        (1750, 60, 4),
        (1725, 60, 4),
        (1800, 60, 4),
        (1805, 60, 4),
        (1160, 60, 6),
        (875, 60, 8),
        (705, 60, 10),
        (575, 60, 12),
        (1462.5, 50, 4),
        (2920, 50, 2),
        (960, 50, 6),
        (720, 50, 8),
    ],
)
def test_poles_from_the_nameplate(rpm, hz, poles):
    assert poles_for(rpm, hz) == poles


@given(pairs=st.integers(1, 6), hz=st.sampled_from([50.0, 60.0]), slip=st.floats(0.0, 0.08))
def test_slip_of_a_nameplate_comes_back(pairs, hz, slip):
    rpm = synchronous_rpm(hz, 2 * pairs) * (1.0 - slip)
    assert poles_for(rpm, hz) == 2 * pairs
    assert rated_slip(rpm, hz) == pytest.approx(slip, abs=1e-12)


@pytest.mark.parametrize(("hz", "poles"), [(60, 4), (50, 4), (60, 6), (47.5, 2)])
def test_synchronous_speed_is_that_of_fluids(hz, poles):
    assert synchronous_rpm(hz, poles) == pytest.approx(pump.speed_synchronous(hz, poles))


def test_a_nameplate_that_is_no_motor_has_no_poles():
    assert np.isnan(poles_for([np.nan, 0.0, -1750.0, 5400.0], 60.0)).all()
    assert np.isnan(rated_slip([np.nan, 5400.0], 60.0)).all()
    # A speed at or rounded above synchronous has no slip.
    assert rated_slip([1800.0, 1805.0], 60.0).tolist() == [0.0, 0.0]


def test_a_fan_gets_the_same_bits_alone_and_in_a_batch():
    speed, exponent = np.linspace(0.1, 1.2, 257), 0.73
    flux = flux_fraction(speed, exponent)
    np.testing.assert_array_equal(flux, [flux_fraction(x, exponent) for x in speed])


@pytest.mark.parametrize(
    ("rated_w", "share"),
    # The measured motor; the 20 hp motor of the energy-management handbook: 9.3 of 24.0 A.
    [(RATED_W, 11.0 / 32.85), (20.0 * HP, 9.3 / 24.0)],
)
def test_measured_no_load_shares_lie_within_the_prior(rated_w, share):
    mean, sd = no_load_fraction_prior(rated_w)
    assert abs(mean - share) < sd


@given(rated_w=sizes, growth=st.floats(1.0, 20.0))
def test_small_motors_magnetise_more(rated_w, growth):
    mean, sd = no_load_fraction_prior(rated_w)
    assert 0.25 <= no_load_fraction_prior(rated_w * growth)[0] <= mean <= 0.55
    assert sd > 0.0


def test_no_prior_without_a_size():
    assert np.isnan(no_load_fraction_prior([np.nan, 0.0])).all()
