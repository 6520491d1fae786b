"""Is the fan running, is it told to? Ten readings each, with the whole mask written out."""

import numpy as np
import pytest

from analytics.machine import Machine
from analytics.running import is_commanded, is_running, is_told_to_run
from analytics.vocabulary import Drive, SpeedControl

NAN = np.nan
VFD = Machine(drive=Drive.V_BELT, motor_rated_power_w=11_000.0, motor_rated_current_a=20.0)
STARTER = Machine(
    drive=Drive.V_BELT,
    motor_rated_power_w=11_000.0,
    motor_rated_current_a=20.0,
    speed_control=SpeedControl.CONSTANT,
)
NOTHING = np.full(10, NAN)


def mask(text: str) -> np.ndarray:
    return np.array([letter == "x" for letter in text])


def test_running_is_told_by_current_then_power_then_command_then_status() -> None:
    speed = np.array([0.8, 0.8, 0.0, 0.8, 0.0, 0.8, NAN, NAN, NAN, 0.04])
    current = np.array([9.0, 0.0, 9.0, NAN, NAN, NAN, NAN, NAN, 0.5, NAN])
    power = np.array([0.0, 5e3, 0.0, 4e3, 4e3, 20.0, NAN, NAN, 5e3, NAN])
    status = np.array([0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 1.0, 1.0])
    # hand (2), power without command (4), drive tripped (1, 5), status alone (6), transducer zero (8),
    # command below what turns a fan (9)
    assert np.array_equal(is_running(speed, current, power, status, VFD), mask("x.xxx.x..."))


def test_a_run_proof_that_drops_out_with_the_belt_hides_nothing() -> None:
    speed = np.full(10, 0.8)
    current = np.array([9.0] * 5 + [4.0] * 5)
    proof = np.array([1.0] * 5 + [0.0] * 5)
    assert is_running(speed, current, NOTHING, proof, VFD).all()
    assert is_running(speed, NOTHING, NOTHING, proof, VFD).all()


def test_a_fan_in_hand_runs_without_a_command() -> None:
    speed = np.zeros(10)
    current = np.array([0.0, 0.1, 0.5, 0.6, 0.7, 4.0, 9.0, 12.0, NAN, 0.0])
    assert np.array_equal(is_running(speed, current, NOTHING, NOTHING, VFD), mask("....xxxx.."))


def test_nothing_known_is_not_running() -> None:
    assert not is_running(NOTHING, NOTHING, NOTHING, NOTHING, VFD).any()


def test_several_motors_draw_together() -> None:
    four = Machine(
        drive=Drive.DIRECT, motor_rated_power_w=11_000.0, motor_rated_current_a=20.0, motor_count=4
    )
    current = np.array([0.0, 0.5, 1.0, 2.0, 2.4, 2.5, 10.0, 30.0, 60.0, 80.0])
    assert np.array_equal(is_running(NOTHING, current, NOTHING, NOTHING, four), mask(".....xxxxx"))


def test_a_reading_on_the_limit_keeps_its_side_whatever_unit_it_came_in() -> None:
    # Three per cent of 20 A, exported as amperes and as per cent of rated, and their neighbours in bits.
    amperes = np.array([0.6, 3.0 / 100.0 * 20.0, np.nextafter(0.6, 1.0), np.nextafter(0.6, 0.0)])
    unknown = np.full(4, NAN)
    assert not is_running(unknown, amperes, unknown, unknown, VFD).any()
    speeds = np.array([0.05, 3.0 / 60.0, 5.0 / 100.0, np.nextafter(0.05, 1.0)])
    assert not is_commanded(speeds, VFD).any()


@pytest.mark.parametrize(("least", "wanted"), [(None, "...xxxxxx."), (0.3, ".....xxxx.")])
def test_a_command_is_above_half_the_least_speed(least: float | None, wanted: str) -> None:
    machine = Machine(drive=Drive.V_BELT, motor_rated_power_w=11_000.0, min_speed_fraction=least)
    speed = np.array([0.0, 0.02, 0.05, 0.06, 0.15, 0.16, 0.3, 0.8, 1.1, NAN])
    assert np.array_equal(is_commanded(speed, machine), mask(wanted))


def test_a_starter_is_told_to_run_while_it_runs() -> None:
    running = mask("..xxxx..x.")
    assert np.array_equal(is_told_to_run(NOTHING, running, STARTER), running)
    assert np.array_equal(is_told_to_run(np.full(10, 0.9), running, STARTER), running)
    speed = np.array([0.8, NAN, NAN, 0.0, 0.8, 0.8, 0.0, NAN, 0.0, 0.8])
    assert np.array_equal(is_told_to_run(speed, running, VFD), mask("x.x.xx...x"))
