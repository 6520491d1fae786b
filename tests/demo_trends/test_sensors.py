"""What a building system makes of the truth."""

from dataclasses import replace

import numpy as np
import pytest

from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault, lowest_clamp, total
from demo_trends.plan import Sensor
from demo_trends.sensors import Errors, export_step, read, read_airflow
from demo_trends.simulator import simulate
from demo_trends.units import UNITS


def no_error(steps: int) -> Errors:
    return Errors(np.zeros(steps), np.ones(steps))


@pytest.mark.parametrize(
    ("unit", "si", "value"),
    [  # NIST SP 811 (2008), appendix B: exact or to the digits printed there
        ("cfm", 4.719474e-4, 1.0),
        ("inwg", 249.0889, 1.0),
        ("degF", 0.0, 32.0),
        ("degF", 100.0, 212.0),
        ("percent", 0.5, 50.0),
        ("kW", 1500.0, 1.5),
        ("L/s", 1.0, 1000.0),
        ("m3/h", 1.0, 3600.0),
    ],
)
def test_units_are_the_published_ones(unit, si, value):
    assert UNITS[unit].to_si(np.array([value]))[0] == pytest.approx(si, rel=1e-6, abs=1e-9)
    assert UNITS[unit].from_si(np.array([si]))[0] == pytest.approx(value, rel=1e-6, abs=1e-6)


def test_readings_come_in_steps_of_the_export():
    sensor = Sensor("inwg", 0.01)
    true = np.linspace(0, 900, 500)
    exported = UNITS["inwg"].from_si(export_step(sensor, true)) / 0.01
    np.testing.assert_allclose(exported, np.round(exported), atol=1e-6)
    assert np.abs(export_step(sensor, true) - true).max() <= 0.005 * 249.1


def test_a_velocity_pressure_station_adds_its_zero_in_squares():
    steps, zero = 3, np.full(3, 0.3**2)
    true = np.array([0.0, 0.4, 4.0])
    sensor = Sensor("m3/s", 1e-9, kind="dp")
    seen = read_airflow(
        sensor, true, np.ones(3), errors=no_error(steps), zero_squared=zero, rng=np.random.default_rng(1)
    )
    np.testing.assert_allclose(seen, [0.3, 0.5, np.hypot(4.0, 0.3)], atol=1e-8)


def test_a_negative_zero_hides_low_flow_and_never_reads_below_nothing():
    sensor = Sensor("m3/s", 1e-9, kind="dp")
    seen = read_airflow(
        sensor,
        np.array([0.2, 0.5]),
        np.ones(2),
        errors=no_error(2),
        zero_squared=np.full(2, -0.09),
        rng=np.random.default_rng(1),
    )
    np.testing.assert_allclose(seen, [0.0, 0.4], atol=1e-8)


def test_a_thermal_station_reports_flow_at_standard_density():
    """30 K are 10 % of the density, by the gas law."""
    sensor = Sensor("m3/s", 1e-9, kind="thermal")
    ratio = np.array([293.15 / 323.15])
    seen = read_airflow(
        sensor,
        np.array([5.0]),
        ratio,
        errors=no_error(1),
        zero_squared=np.zeros(1),
        rng=np.random.default_rng(1),
    )
    assert seen[0] / 5.0 == pytest.approx(0.907, abs=0.001)


def test_noise_has_the_spread_it_was_given():
    rng = np.random.default_rng(2)
    seen = read(
        Sensor("Pa", 1e-6, floor=3.0), np.full(20_000, 400.0), no_error(20_000), np.zeros(20_000), rng
    )
    assert seen.std() == pytest.approx(3.0, rel=0.03)
    assert seen.mean() == pytest.approx(400.0, abs=0.1)


def test_gaps_are_blank_in_all_points_and_as_many_as_asked():
    plan = replace(draw_plan(np.random.default_rng(3)), gap_share=0.02, outages_per_100_days=0.0)
    readings = simulate(plan, "2025-01-01", 60, 15, seed=2).readings
    blank = readings.isna()
    assert (blank.all(axis=1) == blank.any(axis=1)).all()
    assert blank.any(axis=1).mean() == pytest.approx(0.02, abs=0.004)


def test_an_outage_lasts_for_hours():
    plan = replace(draw_plan(np.random.default_rng(3)), gap_share=0.0, outages_per_100_days=5.0)
    blank = simulate(plan, "2025-01-01", 100, 15, seed=2).readings.isna().any(axis=1).to_numpy()
    lengths = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], blank.astype(int), [0]])))[:]).tolist()[::2]
    assert lengths
    assert all(4 <= length <= 14 * 4 * 2 for length in lengths)


def test_a_stopped_fan_says_nothing_but_its_zeros():
    plan = draw_plan(np.random.default_rng(5), choices=Choices(control="scheduled", use="workshop"))
    trends = simulate(plan, "2025-01-01", 40, 15, seed=2)
    stopped = trends.readings[~trends.truth["is_running"].to_numpy()].dropna()
    assert (stopped["speed_fraction"] == 0).all()
    assert (stopped["current_a"] == 0).all()
    assert stopped["pressure_pa"].abs().max() < 0.1 * plan.wheel.design_pressure_pa


def test_a_speed_in_per_cent_is_of_the_drives_highest_frequency():
    plan = draw_plan(
        np.random.default_rng(6), choices=Choices(control="scheduled", motor_kind="permanent_magnet")
    )
    plan = replace(
        plan, control=replace(plan.control, max_fraction=1.25, day_command=0.75, night_command=0.75)
    )
    plan = replace(plan, sensors={**plan.sensors, "speed": Sensor("percent", 1.0)})
    trends = simulate(plan, "2025-01-01", 40, 60, seed=2)
    seen = trends.readings["speed_fraction"][trends.truth["is_running"].to_numpy()].dropna()
    np.testing.assert_allclose(seen.median(), 0.75, rtol=1e-9)  # 60 % of 1.25


class TestCourses:
    DAYS = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0])

    def test_faults_come_at_once_straight_or_growing(self):
        step, ramp, growing = (
            Fault("drag", 10, 1.0, shape, ramp_days=20) for shape in ("step", "ramp", "growing")
        )
        np.testing.assert_allclose(step.course(self.DAYS), [0, 1, 1, 1, 1, 1])
        np.testing.assert_allclose(ramp.course(self.DAYS), [0, 0, 0.5, 1, 1, 1])
        np.testing.assert_allclose(growing.course(self.DAYS), [0, 0, 0.25, 1, 1, 1])

    def test_service_leaves_its_share(self):
        fault = Fault("slip", 10, 0.08, "step", end_day=30, left=0.25)
        np.testing.assert_allclose(fault.course(self.DAYS), [0, 1, 1, 0.25, 0.25, 0.25])

    def test_faults_of_a_kind_add_up_and_the_lowest_clamp_holds(self):
        faults = (
            Fault("drag", 10, 0.02, "step"),
            Fault("drag", 30, 0.03, "step"),
            Fault("wheel", 0, 0.5, "step"),
        )
        np.testing.assert_allclose(total(faults, "drag", self.DAYS), [0, 0.02, 0.02, 0.05, 0.05, 0.05])
        clamps = (Fault("speed_clamp", 10, 0.8, "step"), Fault("speed_clamp", 30, 0.7, "step"))
        np.testing.assert_allclose(lowest_clamp(clamps, self.DAYS), [np.inf, 0.8, 0.8, 0.7, 0.7, 0.7])

    def test_unknown_words_are_refused(self):
        with pytest.raises(ValueError, match="unknown kind of fault 'gremlins'"):
            Fault("gremlins", 0, 1.0)
        with pytest.raises(ValueError, match="unknown shape 'wobble'"):
            Fault("slip", 0, 1.0, "wobble")
