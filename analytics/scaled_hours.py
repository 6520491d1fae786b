"""Which hours can be used, and what do they say in the units of the model?"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.air import actual_airflow, air_density, standard_pressure_pa
from analytics.arrays import Bools, Floats, column
from analytics.machine import Machine
from analytics.model import LoadKind
from analytics.motor import poles_for, rated_slip, shaft_power_from_line_power, synchronous_rpm
from analytics.vocabulary import AirflowBasis, CurrentAt, Duty, MotorType, PowerAt, Role, SpeedControl

STANDARD_DENSITY = 1.2
ASSUMED_TEMPERATURE_C = 20.0
_ASSUMED_RATED_SLIP = 0.025
_LINE_POWER_FACTOR = 0.95
# Vanes within this of each other leave the same curves. Common practice, no source.
VANE_BAND = 0.04
# Four poles and six, the closest pair: torque and power part by more than this.
_STAGES_APART = 1.3


@dataclass(frozen=True, slots=True)
class Channels:
    """Which of a fan's readings carry the inference.

    `load_kind` what says how hard the motor turns; `has_airflow`, `has_pressure`, `has_temperature`,
    `is_outdoor_air` whether it moves outdoor air, whose temperature the site trends,
    `has_barometer`, `has_motor_speed`, `has_wheel_speed` whether the point has data; `vane_position` at
    which a fan with inlet vanes is judged; `full_speed_load` above which a two-speed motor without a speed
    point runs at its full speed; `has_power` whether the power point has data, `has_line_power` whether that
    is a meter on the line.
    """

    load_kind: LoadKind
    has_airflow: bool
    has_pressure: bool
    has_temperature: bool
    is_outdoor_air: bool
    has_barometer: bool
    has_motor_speed: bool
    has_wheel_speed: bool
    vane_position: float | None = None
    full_speed_load: float | None = None
    has_power: bool = False
    has_line_power: bool = False

    @property
    def knows_density(self) -> bool:
        """Whether the temperature of the air the fan moves is known."""
        return self.has_temperature or self.is_outdoor_air

    @property
    def has_load(self) -> bool:
        """Whether anything says how hard the motor turns."""
        return self.load_kind is not LoadKind.NONE

    @property
    def is_flow_free(self) -> bool:
        """Whether pressure and load stand in for an airflow that nobody measures."""
        return not self.has_airflow and self.has_pressure and self.has_load

    @property
    def tells_causes(self) -> bool:
        """Whether two readings check each other, or the wheel's own speed is read."""
        return self.has_wheel_speed or sum((self.has_airflow, self.has_pressure, self.has_load)) > 1

    @property
    def sees_anything(self) -> bool:
        """Whether anything but the speed command is read."""
        return self.has_airflow or self.has_pressure or self.has_load or self.has_wheel_speed


@dataclass(frozen=True, slots=True)
class ScaledHours:
    """Hours of one fan in SI and per unit; every array has shape (hours,).

    `speed` output frequency over base; `airflow_m3s` actual; `density` over 1.2 kg/m3;
    `pressure_pa` with the sign of the export; `load` of rated as the load kind says; `is_steady`;
    `stopped_pressure_pa`, `stopped_airflow_m3s` the zeros; `wheel_ratio` wheel over motor speed.
    """

    speed: Floats
    airflow_m3s: Floats
    density: Floats
    pressure_pa: Floats
    load: Floats
    is_steady: Bools
    stopped_pressure_pa: Floats
    stopped_airflow_m3s: Floats
    wheel_ratio: Floats


def channels_of(hours: pd.DataFrame, machine: Machine) -> Channels:
    """Tell which readings exist in a fan's hours.

    A torque point is better than kW and kW better than amps, so the best one present is used alone.
    Parameters: `hours`, frame of `operating_points` with optional `outdoor_temperature_c` and
    `barometric_pressure_pa`; `machine`. Returns: `Channels`.
    """
    steady = hours[hours["is_steady"].astype(bool)]

    def has(name: str) -> bool:
        return bool(name in steady and steady[name].notna().mean() > 0.5)

    kind = LoadKind.NONE
    if has("torque_fraction"):
        kind = LoadKind.TORQUE
    elif has("power_w"):
        kind = LoadKind.POWER
    elif has("current_a"):
        kind = LoadKind.CURRENT if machine.current_at is CurrentAt.MOTOR else LoadKind.POWER
    found = Channels(
        kind,
        has("airflow_m3s"),
        has("pressure_pa"),
        has("air_temperature_c"),
        False,
        has("barometric_pressure_pa"),
        has("motor_speed_rpm"),
        has("wheel_speed_rpm"),
        has_power=has("power_w"),
        has_line_power=has("power_w") and machine.power_at is PowerAt.LINE,
    )
    return _at_one_speed(found, hours, steady, machine)


def _at_one_speed(found: Channels, hours: pd.DataFrame, steady: pd.DataFrame, machine: Machine) -> Channels:
    position = column(steady, "speed_fraction")
    position = position[~np.isnan(position)]
    if machine.speed_control is SpeedControl.INLET_VANES and len(position):
        # The curves hold for one position of the vanes: the one at which the fan runs most.
        bins, counts = np.unique(np.round(position / VANE_BAND), return_counts=True)
        return replace(found, vane_position=float(bins[np.argmax(counts)] * VANE_BAND))
    is_staged = machine.speed_control is SpeedControl.TWO_SPEED and not len(position)
    if is_staged and found.has_load and not found.has_motor_speed:
        is_steady = hours["is_steady"].to_numpy(dtype=bool)
        return replace(found, full_speed_load=_between_stages(_load(hours, machine, found)[is_steady]))
    return found


def _between_stages(load: Floats) -> float | None:
    load = np.sort(load[load > 0.0])
    if len(load) < 2:
        return None
    # The widest gap parts the two speeds, where both have their hours; half the usual load else.
    gaps = np.diff(np.log(load))
    inside = slice(len(load) // 20, max(len(load) - len(load) // 20 - 1, len(load) // 20 + 1))
    widest = int(np.argmax(gaps[inside])) + len(load) // 20
    if gaps[widest] > np.log(_STAGES_APART):
        return float(np.sqrt(load[widest] * load[widest + 1]))
    return float(0.5 * np.median(load))


def outdoor_air(channels: Channels, hours: pd.DataFrame, machine: Machine) -> Channels | None:
    """Return the channels of a fan that moves outdoor air, None where that need not or cannot be asked.

    Parameters: `channels`; `hours`, with `outdoor_temperature_c` where the site trends it; `machine`.
    """
    # Exhaust, return and relief fans move the room's air.
    is_asked = machine.duty is Duty.SUPPLY and not channels.has_temperature
    if not is_asked or "outdoor_temperature_c" not in hours:
        return None
    is_known = hours.loc[hours["is_steady"].astype(bool), "outdoor_temperature_c"].notna().mean() > 0.9
    return replace(channels, is_outdoor_air=True) if is_known else None


def scaled_hours(hours: pd.DataFrame, machine: Machine, channels: Channels) -> ScaledHours:
    """Bring hourly operating points into the units of the model.

    Air density comes from the fan's temperature point, else 20 degC, and from the barometer point,
    else the standard pressure of the altitude; what is not known is carried as uncertainty.
    Parameters: `hours`, frame of `operating_points`; `machine`; `channels`.
    Returns: `ScaledHours`, in the order of the frame.
    """
    density = _density(hours, machine, channels)
    unread = np.full(len(hours), np.nan)
    # A reading that was refused in the healthy period is not read on later days either.
    airflow = column(hours, "airflow_m3s") if channels.has_airflow else unread
    pressure = column(hours, "pressure_pa") if channels.has_pressure else unread
    if machine.airflow_basis is AirflowBasis.STANDARD:
        airflow = actual_airflow(airflow, density)
    speed = _speed(hours, machine, channels)
    load = _load(hours, machine, channels)
    if channels.full_speed_load is not None:
        speed = np.where(load > channels.full_speed_load, 1.0, np.nan)
    steady = hours["is_steady"].to_numpy(dtype=bool)
    is_usable = steady & ~np.isnan(speed) & (speed > 0.1)
    if channels.vane_position is not None:
        away = np.abs(column(hours, "speed_fraction") - channels.vane_position)
        is_usable &= away <= VANE_BAND
    if channels.has_airflow:
        is_usable &= ~np.isnan(airflow) & (airflow > 0)
    if channels.has_pressure:
        is_usable &= ~np.isnan(pressure)
    if channels.load_kind is not LoadKind.NONE:
        is_usable &= ~np.isnan(load)
    return ScaledHours(
        speed,
        airflow,
        density / STANDARD_DENSITY,
        pressure,
        load,
        is_usable,
        column(hours, "stopped_pressure_pa"),
        column(hours, "stopped_airflow_m3s"),
        column(hours, "wheel_speed_rpm") / (speed * _synchronous(machine)),
    )


def needed_readings(hours: pd.DataFrame, machine: Machine, channels: Channels) -> dict[Role, Bools]:
    """Tell in which hours each reading was there without which an hour cannot be used.

    Parameters: `hours`, frame of `operating_points`; `machine`; `channels`.
    Returns: by role, of shape (hours,) in the order of the frame.
    """
    needed: dict[Role, str] = {}
    if channels.has_motor_speed:
        needed[Role.MOTOR_SPEED] = "motor_speed_rpm"
    elif machine.speed_control is not SpeedControl.CONSTANT and channels.full_speed_load is None:
        needed[Role.SPEED] = "speed_fraction"
    if channels.has_airflow:
        needed[Role.AIRFLOW] = "airflow_m3s"
    if channels.has_pressure:
        needed[Role.PRESSURE] = "pressure_pa"
    if channels.load_kind is LoadKind.TORQUE:
        needed[Role.TORQUE] = "torque_fraction"
    elif channels.load_kind is LoadKind.POWER and channels.has_power:
        needed[Role.POWER] = "power_w"
    elif channels.has_load:
        needed[Role.CURRENT] = "current_a"
    return {role: ~np.isnan(column(hours, name)) for role, name in needed.items()}


def rated_motor_slip(machine: Machine, channels: Channels) -> float:
    """Return rated motor slip of synchronous speed; 0 where speed is known or the motor has none."""
    is_known = machine.is_slip_compensated or channels.has_motor_speed
    if is_known or machine.motor_type is MotorType.PERMANENT_MAGNET or machine.speed_signal == "motor_rpm":
        return 0.0
    if machine.motor_rpm is None:
        return _ASSUMED_RATED_SLIP
    return float(np.clip(rated_slip(machine.motor_rpm, machine.motor_hz), 0.002, 0.08))


def _synchronous(machine: Machine) -> float:
    poles = 4 if machine.motor_rpm is None else int(poles_for(machine.motor_rpm, machine.motor_hz))
    return float(synchronous_rpm(machine.motor_hz, poles))


def _speed(hours: pd.DataFrame, machine: Machine, channels: Channels) -> Floats:
    if channels.has_motor_speed:
        return column(hours, "motor_speed_rpm") / _synchronous(machine)
    speed = column(hours, "speed_fraction")
    # Vanes throttle a motor that turns at one speed; their position stands in the speed point.
    if machine.speed_control in (SpeedControl.CONSTANT, SpeedControl.INLET_VANES):
        return np.ones_like(speed)
    return speed


def _density(hours: pd.DataFrame, machine: Machine, channels: Channels) -> Floats:
    source = "outdoor_temperature_c" if channels.is_outdoor_air else "air_temperature_c"
    temperature = column(hours, source)
    temperature = np.where(np.isnan(temperature), ASSUMED_TEMPERATURE_C, temperature)
    standard = float(standard_pressure_pa(machine.altitude_m))
    pressure = (
        column(hours, "barometric_pressure_pa") if channels.has_barometer else np.full(len(hours), standard)
    )
    return air_density(temperature, np.where(np.isnan(pressure), standard, pressure))


def _load(hours: pd.DataFrame, machine: Machine, channels: Channels) -> Floats:
    rated_w = machine.motor_rated_power_w * machine.motor_count
    if channels.load_kind is LoadKind.TORQUE:
        return column(hours, "torque_fraction")
    current = column(hours, "current_a")
    rated_a = machine.motor_rated_current_a or float(np.nanpercentile(current, 99)) if len(current) else 1.0
    if channels.load_kind is LoadKind.CURRENT:
        return current / (rated_a * machine.motor_count)
    power = column(hours, "power_w")
    # By what the healthy period had: a meter silent for all hours given is no reason to read another.
    if not channels.has_power:
        # Line amps of a drive follow kW and carry no magnetising part; their gain is the curve's.
        volts = machine.motor_volts or 460.0
        power = np.sqrt(3.0) * volts * current * _LINE_POWER_FACTOR
    if machine.power_at is PowerAt.SHAFT:
        return power / rated_w
    has_vfd = machine.power_at is PowerAt.LINE and machine.speed_control is SpeedControl.VFD
    speed = _speed(hours, machine, channels) if machine.speed_control is SpeedControl.VFD else 1.0
    return shaft_power_from_line_power(power, rated_w, has_vfd, speed_fraction=speed) / rated_w
