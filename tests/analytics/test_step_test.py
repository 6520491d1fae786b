"""A step test is found in the readings and read level by level; ordinary control is none."""

import numpy as np
import pandas as pd
import pytest

from analytics.machine import Machine
from analytics.operating_points import operating_points
from analytics.step_test import step_test_points
from analytics.vocabulary import Drive

VFD = Machine(drive=Drive.V_BELT, motor_rated_power_w=7500.0, motor_rated_current_a=15.0)
# Common practice: after tensioning, five commands from 40 to 100 %, fifteen minutes each.
LEVELS = (0.4, 0.55, 0.7, 0.85, 1.0)


def readings(speed: np.ndarray, minutes: int, start: str = "2025-03-03T10:00Z") -> pd.DataFrame:
    time = pd.date_range(start, periods=len(speed), freq=f"{minutes}min")
    return pd.DataFrame({"time": time, "speed_fraction": speed, "pressure_pa": 500.0 * speed**2})


@pytest.mark.parametrize("minutes", [1, 3, 5])
@pytest.mark.parametrize("start", ["2025-03-03T10:00Z", "2025-03-03T10:25Z"])
def test_every_level_is_one_steady_point_at_its_settled_speed(minutes: int, start: str) -> None:
    speed = np.repeat(LEVELS, 15 // minutes)
    before = np.full(60 // minutes, 0.62)
    frame = readings(np.concatenate([before, speed, before]), minutes, start)
    found = step_test_points(frame, np.ones(len(frame), dtype=bool), VFD)
    assert found["is_steady"].all()
    assert np.allclose(found["speed_fraction"], LEVELS, atol=1e-9)
    assert np.allclose(found["pressure_pa"], 500.0 * np.square(LEVELS))


def test_the_hours_say_where_to_look_for_one() -> None:
    frame = readings(np.repeat(LEVELS, 5), 3)
    assert operating_points(frame, VFD)["levels"].tolist() == [4.0, 1.0]


def test_a_fan_under_control_makes_none() -> None:
    hours = np.arange(600) / 20.0
    frame = readings(0.7 + 0.2 * np.sin(hours) + 0.01 * np.sin(50.0 * hours), 3)
    running = np.ones(len(frame), dtype=bool)
    assert step_test_points(frame, running, VFD).empty
    assert operating_points(frame, VFD)["levels"].max() < 3


def test_levels_close_together_or_few_are_none() -> None:
    near = readings(np.repeat((0.8, 0.86, 0.92, 0.98), 5), 3)
    few = readings(np.repeat((0.4, 0.7, 1.0), 5), 3)
    for frame in (near, few):
        assert step_test_points(frame, np.ones(len(frame), dtype=bool), VFD).empty
