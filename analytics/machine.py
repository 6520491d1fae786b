"""What a fan and its drive are, in SI: the frozen description that every analysis is given."""

from dataclasses import dataclass

from analytics.vocabulary import (
    AirflowBasis,
    CurrentAt,
    Drive,
    Duty,
    FanType,
    MotorType,
    PowerAt,
    PressureLocation,
    SpeedControl,
    SpeedSignal,
)


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits a fan's drive is held against, in the per cent of the daily ledger."""

    slip_watch_pct: float = 3.0
    slip_act_pct: float = 5.0
    drive_loss_rise_watch_pct: float = 4.0
    drive_loss_rise_act_pct: float = 8.0
    hold_days: int = 3
    false_alerts_per_fan_year: float = 0.1


@dataclass(frozen=True, slots=True)
class Machine:
    """A fan, its drive and its motor as one epoch of the equipment schedule declares them.

    Blank facts are None; everything here is SI. `motor_rated_power_w` is rated shaft output and
    `motor_hz` the base frequency that speed fractions refer to.
    """

    drive: Drive
    motor_rated_power_w: float
    duty: Duty = Duty.SUPPLY
    fan_type: FanType = FanType.UNKNOWN
    design_airflow_m3s: float | None = None
    design_pressure_pa: float | None = None
    design_wheel_rpm: float | None = None
    motor_sheave_m: float | None = None
    wheel_sheave_m: float | None = None
    motor_type: MotorType = MotorType.INDUCTION
    motor_count: int = 1
    motor_volts: float | None = None
    motor_rated_current_a: float | None = None
    motor_rpm: float | None = None
    motor_hz: float = 60.0
    motor_power_factor: float | None = None
    motor_efficiency: float | None = None
    motor_no_load_current_a: float | None = None
    speed_control: SpeedControl = SpeedControl.VFD
    max_speed_fraction: float = 1.0
    min_speed_fraction: float | None = None
    is_slip_compensated: bool = False
    speed_signal: SpeedSignal = SpeedSignal.COMMAND
    pressure_location: PressureLocation = PressureLocation.DUCT
    airflow_basis: AirflowBasis = AirflowBasis.ACTUAL
    current_at: CurrentAt = CurrentAt.MOTOR
    power_at: PowerAt = PowerAt.LINE
    altitude_m: float = 0.0
    is_airflow_shared: bool = False
    is_pressure_shared: bool = False
