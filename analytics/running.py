"""Is the fan running, and is it told to run?"""

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.machine import Machine
from analytics.vocabulary import SpeedControl

# A motor turning without load still draws a tenth of its rated current on a drive with reduced flux;
# a stopped one shows the transducer's zero. Common practice, no source.
RUNNING_CURRENT_FRACTION = 0.03
RUNNING_POWER_FRACTION = 0.01
COMMANDED_SPEED_FRACTION = 0.05
# Wind-milling wheels and zeros of sensors lie below these. Common practice, no source.
LEAST_MOVING_RPM = 100.0
LEAST_MOVING_PA = 25.0
MOVING_SHARE = 0.15
# Readings are round numbers and so are these limits: a reading that stands on one must not change sides
# with the last bit that a conversion of units leaves.
CLEAR_OF_A_TIE = 1.0 + 1e-6


def is_commanded(speed_fraction: Floats, machine: Machine) -> Bools:
    """Tell whether the speed point asks the fan to run.

    A starter without a command (`constant`) and no speed point gives all False: it is never
    "stopped though commanded".

    Parameters: `speed_fraction` any shape [output frequency over `motor_hz`], NaN where unknown.
    Returns: mask of the same shape.
    """
    least = COMMANDED_SPEED_FRACTION
    if machine.min_speed_fraction is not None:
        least = max(least, 0.5 * machine.min_speed_fraction)
    return np.asarray(speed_fraction > least * CLEAR_OF_A_TIE)


def is_running(
    speed_fraction: Floats,
    current_a: Floats,
    power_w: Floats,
    run_status: Floats,
    machine: Machine,
    is_moving: Bools | None = None,
) -> Bools:
    """Tell whether the motor is turning, from its current or power first, then from its command.

    The run proof only adds where nothing else speaks: current switches and pressure switches drop
    out with a lost belt, and filtering by them would hide it. A current without a command is a fan
    running in hand or on its bypass.

    Parameters: arrays of one shape; `speed_fraction` [1], `current_a` [A] of all motors together,
    `power_w` [W], `run_status` [0 or 1]; NaN where unknown. `is_moving` by `seen_moving`, heeded where no
    command, current, power or status is known.
    Returns: mask of the same shape; False where nothing is known.
    """
    rated_a = machine.motor_rated_current_a
    least_a = RUNNING_CURRENT_FRACTION * rated_a * machine.motor_count if rated_a else 0.2
    least_w = RUNNING_POWER_FRACTION * machine.motor_rated_power_w * machine.motor_count
    told = run_status > 0.5
    if is_moving is not None:
        told = np.where(np.isnan(run_status), is_moving, told)
    if machine.speed_control is not SpeedControl.CONSTANT:
        told = np.where(np.isnan(speed_fraction), told, is_commanded(speed_fraction, machine))
    drawing = np.where(np.isnan(power_w), told, power_w > least_w * CLEAR_OF_A_TIE)
    is_drawing = np.where(np.isnan(current_a), drawing, current_a > least_a * CLEAR_OF_A_TIE)
    return np.asarray(is_drawing, dtype=bool)


def seen_moving(
    pressure_pa: Floats, airflow_m3s: Floats, motor_rpm: Floats, wheel_rpm: Floats, machine: Machine
) -> Bools:
    """Tell whether shaft or air moves: for a starter that says nothing else.

    Parameters: arrays of one shape, NaN where unknown; `machine`, whose design values say what is little. A
    pressure or airflow shared with another fan is not heeded.
    Returns: mask of the same shape; False where nothing is known.
    """
    least_pa = LEAST_MOVING_PA
    if machine.design_pressure_pa:
        least_pa = max(least_pa, MOVING_SHARE * machine.design_pressure_pa)
    is_moving = (motor_rpm > LEAST_MOVING_RPM) | (wheel_rpm > LEAST_MOVING_RPM)
    if not machine.is_pressure_shared:
        is_moving |= np.abs(pressure_pa) > least_pa
    if machine.design_airflow_m3s and not machine.is_airflow_shared:
        is_moving |= airflow_m3s > MOVING_SHARE * machine.design_airflow_m3s
    return np.asarray(is_moving, dtype=bool)


def is_told_to_run(speed_fraction: Floats, running: Bools, machine: Machine) -> Bools:
    """Tell whether the fan is meant to run: by its command, or by its running where there is none.

    Parameters: `speed_fraction` any shape [1], NaN where unknown; `running` of the same shape; `machine`.
    Returns: mask of the same shape.
    """
    if machine.speed_control is SpeedControl.CONSTANT:
        return running
    return np.where(np.isnan(speed_fraction), running, is_commanded(speed_fraction, machine))
