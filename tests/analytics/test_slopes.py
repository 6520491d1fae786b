"""Slopes found by the implicit function are those that differences of the model itself show."""

import numpy as np
import pytest

from analytics.model import INDEX, PARAMETERS, SIZE, LoadKind, Operating, Parameter, Plant, expect
from analytics.slopes import flow_slopes_at, slopes_at, slopes_by_parameter, wheel_slopes_at
from analytics.wheel_speed import log_wheel_ratio

KINDS = (LoadKind.CURRENT, LoadKind.POWER, LoadKind.TORQUE)
STEP = 1e-6
USUAL = {
    Parameter.PRESSURE_SLOPE: -0.9,
    Parameter.PRESSURE_BEND: -0.5,
    Parameter.TORQUE_LEVEL: -0.4,
    Parameter.TORQUE_SLOPE: 0.3,
    Parameter.TORQUE_BEND: -0.6,
    Parameter.FRICTION: 0.02,
    Parameter.FLUX_EXPONENT: 0.6,
    Parameter.NO_LOAD_CURRENT: 0.35,
    Parameter.CREEP: 0.01,
    Parameter.SLIP_STEEPNESS: -1.3,
    Parameter.WHEEL_TORQUE: 0.75,
    Parameter.PATH: 0.3,
}
FAULTS = {
    Parameter.SLIP: 0.01,
    Parameter.DRAG: 0.03,
    Parameter.RATIO: 0.02,
    Parameter.WHEEL: 0.05,
    Parameter.AIRFLOW_GAIN: 0.04,
    Parameter.AIRFLOW_ZERO: 0.02,
    Parameter.PRESSURE_GAIN: -0.03,
    Parameter.PRESSURE_ZERO: 0.02,
    Parameter.LOAD_GAIN: 0.02,
    Parameter.SPEED_SCALE: -0.02,
    Parameter.AIR_PATH: 0.1,
    Parameter.DENSITY: 0.02,
    Parameter.LOAD_EXPONENT: 0.05,
}
PLANT = Plant(np.array([0.025, 0.02, 0.0]), np.array([float(kind) for kind in KINDS]), np.full(3, 0.6))


def fans(**values: float) -> np.ndarray:
    theta = np.zeros((3, SIZE))
    for name, value in {**USUAL, **{Parameter(name): value for name, value in values.items()}}.items():
        theta[:, INDEX[name]] = value
    return theta


def hours(count: int = 8) -> Operating:
    draw = np.random.default_rng(7)
    speed = draw.uniform(0.4, 1.1, (3, count))
    airflow = speed * draw.uniform(0.75, 1.2, (3, count))
    density, one = draw.uniform(0.8, 1.1, (3, count)), np.ones((3, count))
    return Operating(speed, airflow, density, one, one, one.astype(bool))


def differences(theta: np.ndarray, at: Operating) -> list[np.ndarray]:
    """Central differences of pressure, load and log wheel speed, each (fans, hours, parameters)."""
    found = []
    for name in PARAMETERS:
        ends = []
        for sign in (1.0, -1.0):
            moved = theta.copy()
            moved[:, INDEX[name]] += sign * STEP
            expected = expect(moved, PLANT, at)
            ends.append(np.stack([expected.pressure, expected.load, log_wheel_ratio(moved, expected, at)]))
        found.append((ends[0] - ends[1]) / (2.0 * STEP))
    return list(np.moveaxis(np.array(found), 0, -1))


def slopes(theta: np.ndarray) -> list[np.ndarray]:
    """Slopes of pressure, load and log wheel speed, each (fans, hours, parameters)."""
    _, found = slopes_at(theta, PLANT, hours())
    return [found.pressure, found.load, wheel_slopes_at(theta, PLANT, hours(), PARAMETERS)[1]]


@pytest.mark.parametrize("slip", [0.01, 0.04, 0.1, -0.01])
def test_slopes_are_those_of_differences_with_every_cause_at_work(slip: float) -> None:
    theta = fans(**{name.value: value for name, value in (FAULTS | {Parameter.SLIP: slip}).items()})
    for told, found in zip(slopes(theta), differences(theta, hours()), strict=True):
        np.testing.assert_allclose(told, found, rtol=1e-4, atol=1e-6)


def test_slopes_of_a_healthy_fan_are_those_of_differences() -> None:
    theta = fans()
    which = [i for i, name in enumerate(PARAMETERS) if name is not Parameter.SLIP]
    for told, found in zip(slopes(theta), differences(theta, hours()), strict=True):
        np.testing.assert_allclose(told[..., which], found[..., which], rtol=1e-5, atol=1e-6)


def test_a_first_trace_of_slip_slows_the_wheel_in_proportion_to_torque() -> None:
    # Closed form: the knee of a belt that does not slip yet lies far above the reference torque.
    at = Operating(
        *(np.ones((3, 1)) * value for value in (0.6, 0.6, 1.0, 1.0, 1.0)), np.ones((3, 1), dtype=bool)
    )
    expected, found = wheel_slopes_at(fans(), PLANT, at, (Parameter.SLIP, Parameter.RATIO))
    slip, ratio = found[..., 0], found[..., 1]
    # A ratio also takes torque with it at once; both act on wheel speed first.
    assert (slip < 0.0).all()
    assert (ratio > 0.9).all()
    np.testing.assert_allclose(-slip, expected.load_ratio, rtol=0.05)


def test_flow_slopes_are_those_of_differences_at_several_flows() -> None:
    at = hours()
    flows = at.airflow * np.exp([-0.1, 0.0, 0.1])[:, None, None]
    theta = fans(slip=0.02, airflow_zero=0.01)

    def read(log_moved: float) -> np.ndarray:
        expected = expect(theta, PLANT, Operating(at.speed, flows * np.exp(log_moved), *hours_rest(at)))
        return np.stack([expected.pressure, expected.load])

    _, pressure, load = flow_slopes_at(theta, PLANT, Operating(at.speed, flows, *hours_rest(at)))
    np.testing.assert_allclose(
        [pressure, load], (read(STEP) - read(-STEP)) / (2.0 * STEP), rtol=1e-3, atol=1e-4
    )


def hours_rest(at: Operating) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    return at.density, at.pressure, at.load, at.is_used


def test_slopes_that_stand_by_parameter_are_the_same_slopes() -> None:
    theta = fans(**{name.value: value for name, value in FAULTS.items()})
    expected, found = slopes_at(theta, PLANT, hours())
    again, by_parameter = slopes_by_parameter(theta, PLANT, hours(), PARAMETERS)
    assert np.array_equal(expected.load, again.load)
    assert np.array_equal(np.moveaxis(by_parameter, (1, 2), (3, 0)), [found.pressure, found.load])
