"""The circuit against a measured motor.

Source: 18.5 kW, 400 V, 50 Hz, 4-pole motor of the Modelica Standard Library, `IMC_withLosses.mo` (Haumer et
al., Modelica Conference 2009): circuit, losses at rating and the measured table. Windings at 90 degC.
"""

import numpy as np
import pytest

from demo_trends.motor import (
    Circuit,
    Motor,
    electrical,
    flux,
    frequency_for,
    rated_point,
    slip_fraction,
    typical_motor,
)

HOT_COPPER = 1.0 + 0.00393 * 70.0
MEASURED = np.array(
    [  # shaft W, A, rpm, power factor, efficiency
        (1845, 11.20, 1496, 0.327, 0.7250),
        (3549, 12.27, 1493, 0.506, 0.8268),
        (5325, 13.87, 1490, 0.636, 0.8698),
        (7521, 16.41, 1486, 0.741, 0.8929),
        (9372, 18.78, 1482, 0.797, 0.9028),
        (11010, 21.07, 1479, 0.831, 0.9064),
        (12930, 23.92, 1475, 0.857, 0.9088),
        (14950, 27.05, 1471, 0.875, 0.9089),
        (16360, 29.40, 1467, 0.887, 0.9070),
        (18500, 32.85, 1462, 0.896, 0.9044),
        (20180, 35.92, 1458, 0.902, 0.9008),
        (22170, 39.35, 1453, 0.906, 0.8972),
    ]
)


@pytest.fixture(scope="module")
def measured_motor() -> Motor:
    circuit = Circuit(
        stator_ohm=0.56 * HOT_COPPER,
        stator_leakage_ohm=1.52,
        magnetising_ohm=66.4,
        core_ohm=3 * 400.0**2 / 410.0,
        rotor_leakage_ohm=2.31,
        rotor_ohm=0.42 * HOT_COPPER,
    )
    friction = 180.0 / (1462.5 * np.pi / 30)
    return rated_point(
        Motor(18_500.0, 400.0, 50.0, 4, circuit, friction_nm=friction, stray_fraction=102.22 / 18_500.0)
    )


def at_measured_loads(motor: Motor) -> tuple[np.ndarray, ...]:
    torque = MEASURED[:, 0] / (MEASURED[:, 2] * np.pi / 30)
    one = np.ones_like(torque)
    drawn = electrical(motor, one, torque, one)
    rpm = motor.sync_rpm * (1.0 - slip_fraction(motor, one, torque, one))
    return drawn.current_a, rpm, drawn.power_factor, torque * rpm * np.pi / 30 / drawn.motor_input_w


def test_current_follows_the_measurement_within_seven_hundredths_at_light_load_and_less_above(measured_motor):
    current, *_ = at_measured_loads(measured_motor)
    error = current / MEASURED[:, 1] - 1
    assert np.abs(error).max() < 0.07  # the table's own no-load current is 7 % above its circuit's
    assert np.abs(error[MEASURED[:, 0] > 5000]).max() < 0.03


def test_speed_is_within_three_turns_a_minute(measured_motor):
    _, rpm, *_ = at_measured_loads(measured_motor)
    assert np.abs(rpm - MEASURED[:, 2]).max() < 3.0


def test_power_factor_and_efficiency_follow_the_measurement(measured_motor):
    *_, power_factor, efficiency = at_measured_loads(measured_motor)
    loaded = MEASURED[:, 0] > 5000
    assert np.abs(power_factor - MEASURED[:, 3])[loaded].max() < 0.03
    assert np.abs(efficiency - MEASURED[:, 4])[loaded].max() < 0.012


def test_losses_at_rating_are_the_published_ones(measured_motor):
    one = np.ones(1)
    drawn = electrical(measured_motor, one, np.array([measured_motor.rated_nm]), one)
    slip = slip_fraction(measured_motor, one, np.array([measured_motor.rated_nm]), one)[0]
    phase = drawn.current_a[0] / np.sqrt(3.0)
    assert drawn.motor_input_w[0] == pytest.approx(20_443.95, rel=0.006)
    assert 3 * phase**2 * measured_motor.circuit.stator_ohm == pytest.approx(770.13, rel=0.03)
    assert (18_500 + 180) * slip / (1 - slip) == pytest.approx(481.60, rel=0.04)
    assert measured_motor.rated_current_a == pytest.approx(32.85, rel=0.01)
    assert measured_motor.rated_rpm == pytest.approx(1462.5, abs=1.5)


@pytest.mark.parametrize("rated_kw", [2.2, 7.5, 18.5, 45.0, 75.0])
def test_typical_motors_have_usual_nameplates(rated_kw):
    """No-load current 0.25 to 0.55 of rated, falling with size; slip 1 to 5 %: common practice, no source."""
    motor = typical_motor(rated_kw * 1000)
    assert 0.25 < motor.no_load_current_a / motor.rated_current_a < 0.55
    assert 0.01 < 1 - motor.rated_rpm / motor.sync_rpm < 0.05
    output = (
        np.sqrt(3) * motor.volts * motor.rated_current_a * motor.rated_power_factor * motor.rated_efficiency
    )
    assert output == pytest.approx(motor.rated_w, rel=0.01)


def test_small_motors_magnetise_more_and_waste_more():
    small, large = typical_motor(2_200.0), typical_motor(55_000.0)
    assert (
        small.no_load_current_a / small.rated_current_a
        > 1.3 * large.no_load_current_a / large.rated_current_a
    )
    assert small.rated_efficiency < large.rated_efficiency - 0.04


@pytest.mark.parametrize("law", ["constant", "quadratic", "automatic"])
def test_input_covers_output_and_rotor_loss_at_every_speed_and_load(law):
    motor = typical_motor(11_000.0, flux_law=law)
    frequency, load = (
        grid.ravel() for grid in np.meshgrid(np.linspace(0.3, 1.1, 9), np.linspace(0.02, 1.0, 9))
    )
    torque = load * motor.rated_nm * np.minimum(frequency, 1.0) ** 2
    one = np.ones_like(torque)
    slip = slip_fraction(motor, frequency, torque, one)
    speed = (frequency - slip) * motor.sync_rpm * np.pi / 30
    crossing_the_gap = (torque + motor.friction_nm) * frequency * motor.sync_rpm * np.pi / 30
    drawn = electrical(motor, frequency, torque, one)
    assert np.all(drawn.motor_input_w > crossing_the_gap)
    assert np.all(drawn.motor_input_w > torque * speed)
    assert np.all(drawn.line_w > drawn.motor_input_w)
    assert np.all((drawn.power_factor > 0) & (drawn.power_factor <= 1))


def test_less_flux_means_less_magnetising_current_and_more_slip():
    flat, weak = (typical_motor(11_000.0, flux_law=law) for law in ("constant", "quadratic"))
    frequency, warm, none = np.array([0.6]), np.ones(1), np.zeros(1)
    torque = np.array([0.3 * flat.rated_nm])
    assert (
        electrical(weak, frequency, none, warm).current_a
        < 0.7 * electrical(flat, frequency, none, warm).current_a
    )
    assert slip_fraction(weak, frequency, torque, warm) > 1.5 * slip_fraction(flat, frequency, torque, warm)


def test_field_weakens_above_base_frequency():
    motor = typical_motor(11_000.0)
    assert flux(motor, np.array([1.25]), np.array([10.0]))[0] == pytest.approx(0.8)


def test_constant_volts_per_hertz_keeps_slip_speed_in_proportion_to_torque():
    """At constant flux the speed lost depends on torque alone (textbook), but for the stator resistance."""
    motor = typical_motor(18_500.0)
    torque, warm = np.full(2, 0.4 * motor.rated_nm), np.ones(2)
    full, half = slip_fraction(motor, np.array([1.0, 0.5]), torque, warm)
    assert half == pytest.approx(full, rel=0.12)


def test_the_frequency_found_turns_the_motor_at_the_speed_asked():
    motor = typical_motor(7_500.0, flux_law="automatic")
    rpm, torque = np.linspace(500, 1750, 30), np.linspace(3, 38, 30)
    frequency = frequency_for(motor, rpm, torque, np.ones(30))
    reached = (frequency - slip_fraction(motor, frequency, torque, np.ones(30))) * motor.sync_rpm
    np.testing.assert_allclose(reached, rpm, rtol=1e-9)


def test_a_cold_motor_slips_less():
    motor, torque = typical_motor(11_000.0), np.array([40.0])
    cold, hot = (slip_fraction(motor, np.ones(1), torque, np.array([warmth])) for warmth in (0.0, 1.0))
    assert 0.75 < cold[0] / hot[0] < 0.9


def test_a_permanent_magnet_motor_has_neither_slip_nor_magnetising_current():
    motor = typical_motor(5_500.0, kind="permanent_magnet")
    torque = np.array([0.0, 0.5, 1.0]) * motor.rated_nm
    drawn = electrical(motor, np.full(3, 0.7), torque, np.ones(3))
    assert np.all(slip_fraction(motor, np.full(3, 0.7), torque, np.ones(3)) == 0)
    assert drawn.current_a[0] < 0.05 * motor.rated_current_a
    assert drawn.current_a[2] == pytest.approx(motor.rated_current_a, rel=0.01)
