"""Slopes of a healthy fan's readings: the general ones where no cause is at work, whatever tells the load."""

import numpy as np
import pytest

from analytics.healthy_slopes import healthy_slopes
from analytics.model import CURVE, INDEX, SIZE, LoadKind, Operating, Parameter, Plant, expect
from analytics.slopes import slopes_at
from tests.analytics.planted import planted_theta


def sets() -> np.ndarray:
    theta = np.repeat(planted_theta(), 3, axis=0)
    moved = {
        Parameter.FLUX_EXPONENT: (0.2, 0.5, 0.9),
        Parameter.NO_LOAD_CURRENT: (0.3, 0.35, 0.4),
        Parameter.PATH: (0.1, 0.4, 0.0),
        Parameter.LOAD_EXPONENT: (0.03, -0.02, 0.06),
        # One curve is so steep that its torque is held above nothing at some hours.
        Parameter.TORQUE_SLOPE: (0.3, -0.4, -2.4),
    }
    for name, values in moved.items():
        theta[:, INDEX[name]] = values
    return theta


def hours() -> Operating:
    rng = np.random.default_rng(5)
    # Above base speed too, and far above the reference torque.
    speed = rng.uniform(0.3, 1.1, (1, 60))
    airflow = speed * rng.uniform(0.6, 1.5, (1, 60)) * np.array([1.0, 1.0001])[:, None, None]
    one = np.ones((1, 60))
    return Operating(speed, airflow, rng.uniform(0.9, 1.1, (1, 60)), one, one, one > 0)


@pytest.mark.parametrize("kind", LoadKind)
@pytest.mark.parametrize("rated_slip", [0.0, 0.03])
def test_they_are_the_general_slopes_where_no_cause_is_at_work(kind: LoadKind, rated_slip: float) -> None:
    plant, theta = Plant(np.array([rated_slip]), np.array([float(kind)]), np.array([0.7])), sets()
    expected, pressure, load = healthy_slopes(theta, plant, hours(), CURVE)
    same, slopes = slopes_at(theta, plant, hours(), CURVE)
    assert np.array_equal(expected.load, same.load)
    assert np.array_equal(expected.pressure, same.pressure)
    assert np.moveaxis(pressure, 0, -1) == pytest.approx(slopes.pressure, abs=1e-13)
    assert np.moveaxis(load, 0, -1) == pytest.approx(slopes.load, abs=1e-13)


def test_they_are_what_the_model_itself_moves_by() -> None:
    plant, theta = Plant(np.array([0.02]), np.array([float(LoadKind.CURRENT)]), np.array([0.7])), sets()[:2]
    _, pressure, load = healthy_slopes(theta, plant, hours(), CURVE)
    for place, name in enumerate(CURVE):
        step = np.zeros(SIZE)
        step[INDEX[name]] = 1e-5
        above, below = expect(theta + step, plant, hours()), expect(theta - step, plant, hours())
        # The model's own repetition leaves some 1e-6 of torque.
        assert pressure[place] == pytest.approx((above.pressure - below.pressure) / 2e-5, rel=1e-4, abs=1e-5)
        assert load[place] == pytest.approx((above.load - below.load) / 2e-5, rel=1e-4, abs=1e-5)
