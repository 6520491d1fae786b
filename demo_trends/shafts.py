"""Wheel, belt and motor turning together: speeds, torques and slip that agree at every step."""

from typing import NamedTuple

import numpy as np

from demo_trends import motor as motors
from demo_trends.arrays import Array, Mask
from demo_trends.plan import FanPlan

_HALVINGS = 46


class Drivetrain(NamedTuple):
    """The drive at each step: belt tension, extra drag at the motor, ratio factor, warmth, lost."""

    tension: Array
    drag_nm: Array
    ratio_factor: Array
    warmth: Array
    is_lost: Mask
    line_volts: Array


class Turning(NamedTuple):
    """What turns: wheel and motor speed, motor torque, belt slip, frequency fraction."""

    wheel_rpm: Array
    motor_rpm: Array
    motor_nm: Array
    slip: Array
    frequency: Array


def standing_nm(plan: FanPlan, tension: Array, drag_nm: Array) -> Array:
    """Motor torque that does not depend on speed: bearings, belt flexing, extra drag."""
    share = plan.bearing_fraction + plan.belt.flexing_fraction(tension)
    return np.asarray(share * plan.motor.rated_nm + drag_nm, dtype=np.float64)


def driven(
    plan: FanPlan, drive: Drivetrain, wheel_rpm: Array, nm_per_rpm2: Array
) -> tuple[Array, Array, Array]:
    """Motor torque, slip and motor speed when the wheel turns at this speed."""
    ratio = plan.ratio * drive.ratio_factor
    wheel_nm = nm_per_rpm2 * wheel_rpm**2 * plan.wheel.off_the_law(wheel_rpm)
    torque = wheel_nm * ratio + standing_nm(plan, drive.tension, drive.drag_nm)
    slip = plan.belt.slip(torque / plan.motor.rated_nm, drive.tension)
    return torque, slip, wheel_rpm / (ratio * np.maximum(1.0 - slip, 1e-9))


def turn_to(plan: FanPlan, drive: Drivetrain, wheel_rpm: Array, nm_per_rpm2: Array) -> Turning:
    """The drive that a loop has brought to this wheel speed."""
    torque, slip, motor_rpm = driven(plan, drive, wheel_rpm, nm_per_rpm2)
    reachable = np.minimum(motor_rpm, 3.0 * plan.motor.sync_rpm)
    frequency = motors.frequency_for(plan.motor, reachable, torque, drive.warmth)
    return Turning(wheel_rpm, motor_rpm, torque, slip, np.where(motor_rpm > reachable, 9.0, frequency))


def turn_at(plan: FanPlan, drive: Drivetrain, frequency: Array, nm_per_rpm2: Array) -> Turning:
    """The drive at a given frequency, by halving the interval in which the wheel speed must lie."""
    ratio = plan.ratio * drive.ratio_factor
    volts = None if plan.motor.has_drive else drive.line_volts
    low, high = np.zeros_like(frequency), frequency * plan.motor.sync_rpm * ratio * 1.0001
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        torque, slip, _ = driven(plan, drive, middle, nm_per_rpm2)
        lost = motors.slip_fraction(plan.motor, frequency, torque, drive.warmth, volts)
        reached = ratio * (1.0 - slip) * np.maximum(frequency - lost, 0.0) * plan.motor.sync_rpm
        is_below = middle < reached
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    wheel_rpm = 0.5 * (low + high)
    torque, slip, motor_rpm = driven(plan, drive, wheel_rpm, nm_per_rpm2)
    return Turning(wheel_rpm, motor_rpm, torque, slip, frequency)


def spin_free(plan: FanPlan, drive: Drivetrain, frequency: Array) -> Turning:
    """The motor alone, its belt off: the wheel stands, the current is that of no load."""
    torque = np.full_like(frequency, 0.003 * plan.motor.rated_nm)
    volts = None if plan.motor.has_drive else drive.line_volts
    lost = motors.slip_fraction(plan.motor, frequency, torque, drive.warmth, volts)
    motor_rpm = (frequency - lost) * plan.motor.sync_rpm
    return Turning(np.zeros_like(frequency), motor_rpm, torque, np.ones_like(frequency), frequency)
