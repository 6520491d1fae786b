"""Fan laws against worked examples, a published rating table and a digitised fan; slip identities."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.air import air_density
from analytics.fan_laws import air_power_w, scaled_airflow, scaled_power, scaled_pressure, slip_signature
from analytics.statistics import cv_rmse
from analytics.transmission import belt_efficiency, motor_power_for

DATA = Path(__file__).parent / "data"
CFM = 0.3048**3 / 60.0
INWG = 249.08891
HP = 745.69987

slips = st.floats(0.0, 0.99)


# Worked examples; the laws are free of units, so the examples keep theirs. Tolerance: their printed digits.
@pytest.mark.parametrize(
    ("speed", "before", "after", "tolerance"),
    [
        # HVAC fan-law lecture (scribd 262289512): 6000 cfm, 4 in, 6 hp at 2000 rpm, slowed to 1500.
        ((2000, 1500), (6000, 4.0, 6.0), (4500, 2.25, 2.53), (0.5, 0.005, 0.005)),
        # Same lecture: 2000 cfm, 3.00 in, 1.0 kW at 1300 rpm, raised to 1500.
        ((1300, 1500), (2000, 3.0, 1.0), (2308, 3.99, 1.54), (0.5, 0.005, 0.005)),
        # Fan-law example: 10 000 cfm, 2.0 in, 5 hp at 1200 rpm, raised to 1500.
        ((1200, 1500), (10_000, 2.0, 5.0), (12_500, 3.13, 9.77), (0.5, 0.0051, 0.005)),
    ],
)
def test_published_speed_changes(speed, before, after, tolerance):
    ratio = speed[1] / speed[0]
    scaled = (
        scaled_airflow(before[0], ratio),
        scaled_pressure(before[1], ratio),
        scaled_power(before[2], ratio),
    )
    for value, expected, width in zip(scaled, after, tolerance, strict=True):
        assert value == pytest.approx(expected, abs=width)


def test_a_quarter_more_speed_doubles_the_motor():
    # gorhamschaffler.com: 1000 to 1250 rpm turns a 5 hp load into one that needs the 10 hp motor.
    assert 7.5 < scaled_power(5.0, 1.25) <= 10.0


def test_hotter_air_at_the_same_speed():
    # Textbook problem: 1.8 kW at 20 degC becomes 1.685 kW at 40 degC, flow unchanged, by 293/313 (the
    # text's kelvin are whole: 0.05 %). 340 Pa becomes 318.3 Pa by the same ratio.
    ratio = air_density(40.0, 101_325.0) / air_density(20.0, 101_325.0)
    assert scaled_power(1.8, 1.0, ratio) == pytest.approx(1.685, rel=5e-4)
    assert scaled_pressure(340.0, 1.0, ratio) == pytest.approx(318.3, rel=5e-4)
    assert scaled_airflow(2.4, 1.0) == 2.4


def test_a_fifth_less_speed_halves_the_power():
    # US Department of Energy, adjustable-speed-drive tip sheet: "about 50 %".
    assert 1.0 - scaled_power(1.0, 0.8) == pytest.approx(0.50, abs=0.02)


def test_a_tenth_more_flow_costs_a_third_more_power():
    # Trade page on fan laws: 10 % more flow, 33 % more power.
    speed_ratio = 1.1 / scaled_airflow(1.0, 1.0)
    assert scaled_power(1.0, speed_ratio) - 1.0 == pytest.approx(0.33, abs=0.005)


@given(cfm=st.floats(100.0, 200_000.0), inwg=st.floats(0.05, 20.0), efficiency=st.floats(0.2, 0.9))
def test_brake_horsepower_and_its_si_twin(cfm, inwg, efficiency):
    # bhp = cfm inwg / (6356 efficiency), hvacformula; the constant is 6355.5 at 60 degF water and 6343.3
    # at 4 degC, hence 0.2 %.
    si_hp = air_power_w(cfm * CFM, inwg * INWG) / efficiency / HP
    assert si_hp == pytest.approx(cfm * inwg / (6356.0 * efficiency), rel=0.0021)


@pytest.mark.parametrize(
    ("cfm", "inwg", "efficiency", "bhp", "width"),
    # First: worked example printed as 19.4 bhp. Others: trade page, motors of about 40 and 63 hp.
    [(20_000, 4.0, 0.65, 19.4, 0.06), (20_000, 10.0, 0.80, 40.0, 1.0), (20_000, 10.0, 0.50, 63.0, 0.5)],
)
def test_published_brake_horsepowers(cfm, inwg, efficiency, bhp, width):
    assert air_power_w(cfm * CFM, inwg * INWG) / efficiency / HP == pytest.approx(bhp, abs=width)


def test_reference_fan_to_motor_output():
    # AMCA 208-18 reference fan in SI as reproduced in the LBNL note: H = (Q + 0.118)(p + 100)/660 kW;
    # at Q 5 m3/s and 1000 Pa H is 8.5300 kW, belt 0.9516, motor output 8.9639 kW.
    wheel_w = air_power_w(5.0 + 0.118, 1000.0 + 100.0) / 0.66
    assert wheel_w == pytest.approx(8530.0, abs=0.1)
    assert belt_efficiency(wheel_w) == pytest.approx(0.9516, abs=5e-5)
    assert motor_power_for(wheel_w) == pytest.approx(8963.9, abs=0.1)


@pytest.fixture(scope="module")
def rating_table():
    return np.genfromtxt(DATA / "fan_rating_table.csv", delimiter=",", names=True)


# Data and bounds: ASHRAE Standard 205 example file RS0003; see data/README.md.
COLLAPSES = [("shaft_w", scaled_power, 0.005), ("static_pa", scaled_pressure, 0.008)]


@pytest.mark.parametrize(("column", "law", "bound"), COLLAPSES)
def test_rating_table_collapses_on_one_curve(rating_table, column, law, bound):
    speed = rating_table["speed_rps"]
    flow = scaled_airflow(rating_table["airflow_m3s"], 1.0 / speed)
    value = law(rating_table[column], 1.0 / speed)
    curve = np.polynomial.Polynomial.fit(flow, value, 3)
    assert cv_rmse(value, curve(flow), 4) < bound
    # The wrong power of speed does not collapse: the bound tells laws apart.
    wrong = value * speed
    assert cv_rmse(wrong, np.polynomial.Polynomial.fit(flow, wrong, 3)(flow), 4) > 10.0 * bound


@pytest.mark.parametrize(("column", "law", "bound"), COLLAPSES)
def test_curves_of_the_slow_half_predict_the_fast_half(rating_table, column, law, bound):
    speed = rating_table["speed_rps"]
    is_slow = speed < np.median(speed)
    assert rating_table[column][~is_slow].mean() > 1.3 * rating_table[column][is_slow].mean()
    flow = scaled_airflow(rating_table["airflow_m3s"], 1.0 / speed)
    curve = np.polynomial.Polynomial.fit(
        flow[is_slow], law(rating_table[column][is_slow], 1.0 / speed[is_slow]), 3
    )
    predicted = law(curve(flow[~is_slow]), speed[~is_slow])
    assert cv_rmse(rating_table[column][~is_slow], predicted, 0) < bound


def test_office_fan_slowed_to_600_rpm():
    # Englander and Norford 1992; the figure reads about 29.5 m3/s free delivery and 0.66 kPa at shut-off,
    # the digitised curve scaled by the laws 29.4 and 0.67 (its ends are near, not at, the axes).
    fan = np.genfromtxt(DATA / "office_supply_fan_curve.csv", delimiter=",", names=True)
    ratio = 600.0 / 875.0
    assert scaled_airflow(fan["airflow_m3s"], ratio).max() == pytest.approx(29.4, abs=0.05)
    assert scaled_pressure(fan["static_pa"], ratio).max() / 1000.0 == pytest.approx(0.67, abs=0.005)


@pytest.mark.parametrize(
    ("slip", "flow", "pressure", "wheel", "motor"),
    [
        (0.02, 0.98, 0.9604, 0.9412, 0.9604),
        (0.05, 0.95, 0.9025, 0.8574, 0.9025),
        (0.10, 0.90, 0.8100, 0.7290, 0.8100),
        (0.20, 0.80, 0.6400, 0.5120, 0.6400),
    ],
)
def test_slip_at_a_fixed_command(slip, flow, pressure, wheel, motor):
    # Derived by hand from the fan laws and from torque passing through a slipping belt whole.
    seen = slip_signature(slip)
    assert (seen.command, seen.airflow) == (1.0, pytest.approx(flow))
    assert seen.pressure == pytest.approx(pressure)
    assert seen.wheel_power == pytest.approx(wheel, abs=5e-5)
    assert seen.motor_power == pytest.approx(motor)


@given(slip=slips)
def test_slip_is_the_fan_laws_at_a_slower_wheel(slip):
    seen = slip_signature(slip)
    assert seen.airflow == pytest.approx(scaled_airflow(1.0, 1.0 - slip))
    assert seen.pressure == pytest.approx(scaled_pressure(1.0, 1.0 - slip))
    assert seen.wheel_power == pytest.approx(scaled_power(1.0, 1.0 - slip))


@given(slip=slips, is_airflow_held=st.booleans())
def test_the_motor_pays_for_the_slip_heat(slip, is_airflow_held):
    seen = slip_signature(slip, is_airflow_held=is_airflow_held)
    # Power the belt takes and does not hand on is the slip's share of it.
    assert (seen.motor_power - seen.wheel_power) / seen.motor_power == pytest.approx(slip, abs=1e-12)
    assert seen.motor_power == pytest.approx(seen.motor_torque * seen.command)


@given(slip=slips)
def test_a_controller_that_holds_airflow_raises_the_command(slip):
    seen = slip_signature(slip, is_airflow_held=True)
    assert seen.command == pytest.approx(1.0 / (1.0 - slip))
    assert seen.motor_power == pytest.approx(1.0 / (1.0 - slip))
    assert (seen.airflow, seen.pressure, seen.motor_torque) == (1.0, 1.0, 1.0)


def test_a_lost_drive_moves_nothing_and_no_controller_can_hold_it():
    lost = slip_signature([0.0, 1.0])
    np.testing.assert_array_equal(lost.airflow, [1.0, 0.0])
    np.testing.assert_array_equal(lost.motor_power, [1.0, 0.0])
    assert np.isnan(slip_signature(1.0, is_airflow_held=True).command)


def test_impossible_slip_and_gaps_are_gaps():
    for held in (False, True):
        seen = slip_signature([-0.01, 1.01, np.nan], is_airflow_held=held)
        for ratio in (seen.command, seen.airflow, seen.pressure, seen.wheel_power, seen.motor_power):
            assert np.isnan(ratio).all()
