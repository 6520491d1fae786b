"""What are a fan's healthy curves likely to be before its data speak?"""

import numpy as np

from analytics.arrays import Floats
from analytics.machine import Machine
from analytics.model import INDEX, SIZE, LoadKind, Operating, Parameter
from analytics.motor import no_load_fraction_prior
from analytics.priors import (
    CURVE_SHAPES,
    FLUX_EXPONENT,
    FRICTION,
    HEALTHY_SLIP_PCT,
    LEVEL_SD,
    LOAD_EXPONENT,
    LOAD_EXPONENT_POWER,
    NAMEPLATE_SLIP_SD,
    NO_LOAD_SD_MEASURED,
    PATH_LOSS,
    PINNED_SD,
    SLIP_STEEPNESS,
    USUAL_TORQUE,
    WHEEL_TORQUE,
)
from analytics.scaled_hours import Channels, rated_motor_slip
from analytics.vocabulary import MotorType, PowerAt, PressureLocation, SpeedControl


def curve_prior(machine: Machine, channels: Channels, operating: Operating) -> tuple[Floats, Floats]:
    """Return prior mean and standard deviation of the model's parameters for a fan.

    Parameters: `machine`; `channels`; `operating`, the healthy hours as a batch of one, which set the
    torque's order of size. Returns: two arrays (SIZE,); what the fan's readings cannot move is pinned.
    """
    shape = CURVE_SHAPES[machine.fan_type]
    is_across = machine.pressure_location is PressureLocation.ACROSS_FAN
    path, path_sd = (0.0, PINNED_SD) if is_across else PATH_LOSS
    torque = USUAL_TORQUE
    if channels.has_load:
        torque = float(np.median(operating.load / (operating.density * operating.speed**2)))
    values = {
        Parameter.SLIP_STEEPNESS: (SLIP_STEEPNESS[0], 0.0),
        Parameter.WHEEL_TORQUE: (WHEEL_TORQUE[0], 0.0),
        Parameter.PRESSURE_LEVEL: (float(np.log1p(path)), LEVEL_SD),
        Parameter.PRESSURE_SLOPE: shape.pressure_slope,
        Parameter.PRESSURE_BEND: shape.pressure_bend,
        Parameter.TORQUE_LEVEL: (float(np.log(np.clip(torque, 0.05, 3.0))), LEVEL_SD),
        Parameter.TORQUE_SLOPE: shape.torque_slope,
        Parameter.TORQUE_BEND: shape.torque_bend,
        Parameter.FRICTION: FRICTION,
        Parameter.FLUX_EXPONENT: FLUX_EXPONENT,
        Parameter.NO_LOAD_CURRENT: _no_load_prior(machine),
        Parameter.CREEP: _creep_prior(machine, channels),
        Parameter.PATH: (path, path_sd),
        Parameter.LOAD_EXPONENT: _load_exponent(machine, channels),
    }
    mean, sd = np.zeros(SIZE), np.full(SIZE, PINNED_SD)
    for name, (centre, width) in values.items():
        mean[INDEX[name]], sd[INDEX[name]] = centre, max(width, PINNED_SD)
    pinned = _pinned(machine, channels)
    for name in pinned:
        sd[INDEX[name]] = PINNED_SD
    if Parameter.FLUX_EXPONENT in pinned:
        mean[INDEX[Parameter.FLUX_EXPONENT]] = 0.0
    return mean, sd


def _no_load_prior(machine: Machine) -> tuple[float, float]:
    rated = machine.motor_rated_current_a
    if machine.motor_type is MotorType.PERMANENT_MAGNET:
        # Magnets need no magnetising current: amps follow torque.
        return 0.0, PINNED_SD
    if machine.motor_no_load_current_a is not None and rated:
        return machine.motor_no_load_current_a / rated, NO_LOAD_SD_MEASURED
    mean, sd = no_load_fraction_prior(machine.motor_rated_power_w)
    return float(mean), float(sd)


def _creep_prior(machine: Machine, channels: Channels) -> tuple[float, float]:
    # The nameplate's error in motor slip has the shape of creep: speed lost in proportion to torque.
    motor = NAMEPLATE_SLIP_SD * rated_motor_slip(machine, channels)
    creep, creep_sd = (0.01 * value for value in HEALTHY_SLIP_PCT)
    if not machine.drive.can_slip:
        return 0.0, motor
    return creep, float(np.hypot(creep_sd, motor))


def _load_exponent(machine: Machine, channels: Channels) -> tuple[float, float]:
    is_electrical = channels.load_kind is LoadKind.POWER and machine.power_at is not PowerAt.SHAFT
    return LOAD_EXPONENT_POWER if is_electrical else LOAD_EXPONENT


def _pinned(machine: Machine, channels: Channels) -> set[Parameter]:
    pinned: set[Parameter] = set()
    if not channels.has_pressure:
        pinned |= {Parameter.PRESSURE_LEVEL, Parameter.PRESSURE_SLOPE, Parameter.PRESSURE_BEND}
        pinned |= {Parameter.PATH}
    if channels.load_kind is LoadKind.NONE:
        pinned |= {Parameter.TORQUE_LEVEL, Parameter.FRICTION, Parameter.LOAD_EXPONENT}
    if channels.load_kind is not LoadKind.CURRENT:
        pinned |= {Parameter.NO_LOAD_CURRENT}
    is_fluxed = machine.motor_type is MotorType.INDUCTION and machine.speed_control is SpeedControl.VFD
    if not is_fluxed or (
        channels.load_kind is not LoadKind.CURRENT and not rated_motor_slip(machine, channels)
    ):
        pinned |= {Parameter.FLUX_EXPONENT}
    return pinned
