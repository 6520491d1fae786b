"""The forward model against closed forms: slip identities, the current's quadrature, units and slopes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.fan_laws import slip_signature
from analytics.model import INDEX, SIZE, LoadKind, Operating, Parameter, Plant, expect, turned
from analytics.motor import current_from_torque_fraction
from analytics.slip_law import slip_above_creep
from analytics.slopes import linearise

PLANT = Plant(np.array([0.0]), np.array([float(LoadKind.TORQUE)]), np.array([0.8]))


def _theta(**values: float) -> np.ndarray:
    theta = np.zeros((1, SIZE))
    shape = {"pressure_slope": -0.9, "pressure_bend": -0.5, "torque_slope": 0.3, "torque_bend": -0.6}
    usual = {**shape, "torque_level": np.log(0.8), "slip_steepness": -1.3, "wheel_torque": 0.75}
    for name, value in {**usual, **values}.items():
        theta[0, INDEX[Parameter(name)]] = value
    return theta


def _hours(speed: float, airflow: float, density: float = 1.0) -> Operating:
    one = np.ones((1, 1))
    return Operating(speed * one, airflow * one, density * one, one, one, np.ones((1, 1), dtype=bool))


@given(st.floats(0.0, 0.3), st.floats(0.5, 1.0))
def test_slip_on_a_fixed_system_lowers_flow_once_and_pressure_and_torque_twice(slip: float, x: float) -> None:
    # Identities of a slipping belt at a fixed command: q (1-s), p (1-s)^2, T (1-s)^2 (analytics.fan_laws).
    said = slip_signature(slip)
    healthy = expect(_theta(), PLANT, _hours(1.0, x))
    # Slip is set as the state sets it, so that at this torque the wheel runs (1 - s) as fast.
    slipped_x = x * float(said.airflow)
    ratio = _theta(speed_scale=float(np.log1p(-slip)))
    slipped = expect(ratio, PLANT, _hours(1.0, slipped_x))
    assert slipped.pressure[0, 0] == pytest.approx(healthy.pressure[0, 0] * float(said.pressure), rel=1e-9)
    assert slipped.torque[0, 0] == pytest.approx(healthy.torque[0, 0] * float(said.motor_torque), rel=1e-9)


def test_belt_slip_is_motor_torque_times_k_squared_and_not_cubed() -> None:
    # At the reference torque the belt slips by D exactly, whatever the law's steepness.
    theta = _theta(slip=0.05, slip_steepness=-3.0)
    slipped = expect(theta, PLANT, _hours(1.0, 0.95))
    k = 1.0 - slipped.slip[0, 0]
    assert 0.02 < slipped.slip[0, 0] < 0.06
    wheel = expect(_theta(), PLANT, _hours(k, 0.95))
    assert slipped.torque[0, 0] == pytest.approx(wheel.torque[0, 0], rel=1e-6)
    assert slipped.pressure[0, 0] == pytest.approx(wheel.pressure[0, 0], rel=1e-6)


@given(st.floats(0.002, 0.12), st.floats(-3.0, 0.0), st.floats(0.75, 1.0))
def test_slip_and_torque_agree_however_steep_the_belt_lets_go(
    slip: float, steepness: float, airflow: float
) -> None:
    # Slip unloads the motor and the unloaded motor slips less: found together, not one after the other.
    found = expect(_theta(slip=slip, slip_steepness=steepness), PLANT, _hours(1.0, airflow))
    due, _ = slip_above_creep(found.load_ratio, np.array(slip), np.array(steepness))
    assert found.slip[0, 0] == pytest.approx(due[0, 0], abs=1e-12)
    # The torque by which the belt slips is the one that the wheel then asks for.
    asked = found.load_ratio * PLANT.reference_torque[0]
    assert asked[0, 0] == pytest.approx(found.torque[0, 0], rel=1e-4)
    near = turned(_theta(slip=slip, slip_steepness=steepness), PLANT, _hours(1.0, airflow), 0.97 * asked)
    assert near.torque[0, 0] == pytest.approx(found.torque[0, 0], rel=1e-4)


@given(st.floats(0.2, 1.1), st.floats(0.25, 0.55))
def test_current_is_the_published_quadrature(torque: float, no_load: float) -> None:
    plant = Plant(np.array([0.0]), np.array([float(LoadKind.CURRENT)]), np.array([1.0]))
    theta = _theta(torque_level=np.log(torque), torque_slope=0.0, torque_bend=0.0, no_load_current=no_load)
    found = expect(theta, plant, _hours(1.0, 1.0)).load[0, 0]
    assert found == pytest.approx(float(current_from_torque_fraction(torque, 1.0, no_load)), rel=1e-9)


@pytest.mark.parametrize(
    ("cause", "pressure", "load"),
    [
        # Physics of the table of causes, to first order at x = 1: m_G = -0.9, m_F = 0.3.
        ("pressure_gain", 1.0, 0.0),
        ("load_gain", 0.0, 1.0),
        ("airflow_gain", 0.9, -0.3),
        ("wheel", -1.0, -0.75),
        ("speed_scale", 2.9, 1.7),
        ("ratio", 2.9, 2.7),
        ("air_path", -1.0, 0.0),
        ("drag", 0.0, 1.0 / 0.8),
        ("density", 1.0, 1.0),
    ],
)
def test_slopes_are_those_of_the_table_of_causes(cause: str, pressure: float, load: float) -> None:
    expected, by_pressure, by_load = linearise(_theta(), PLANT, _hours(1.0, 1.0), (Parameter(cause),))
    assert by_pressure[0, 0, 0] / expected.pressure[0, 0] == pytest.approx(pressure, abs=2e-3)
    assert by_load[0, 0, 0] / expected.load[0, 0] == pytest.approx(load, abs=2e-3)


def test_a_fan_alone_has_the_same_bits_as_in_a_batch() -> None:
    rng = np.random.default_rng(3)
    many = Operating(
        rng.uniform(0.5, 1.0, (5, 24)),
        rng.uniform(0.4, 1.0, (5, 24)),
        rng.uniform(0.9, 1.0, (5, 24)),
        np.ones((5, 24)),
        np.ones((5, 24)),
        np.ones((5, 24), dtype=bool),
    )
    plant = Plant(np.full(5, 0.03), np.arange(5.0) % 4, np.full(5, 0.7))
    theta = np.concatenate([_theta(slip=0.01 * i, drag=0.02) for i in range(5)])
    together = expect(theta, plant, many)
    for i in range(5):
        one = Operating(*(getattr(many, name)[i : i + 1] for name in Operating.__slots__))
        single = Plant(*(getattr(plant, name)[i : i + 1] for name in Plant.__slots__))
        alone = expect(theta[i : i + 1], single, one)
        assert np.array_equal(alone.pressure[0], together.pressure[i])
        assert np.array_equal(alone.load[0], together.load[i])
