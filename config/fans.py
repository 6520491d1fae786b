"""What a row of fans.csv may say, column by column, as it is written there."""

from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from analytics.vocabulary import (
    AirflowBasis,
    BearingLubrication,
    Criticality,
    CurrentAt,
    Drive,
    Duty,
    FanType,
    MotorType,
    PowerAt,
    PressureLocation,
    Role,
    SpeedControl,
    SpeedSignal,
)
from config.site_values import Percent
from config.table import Table
from config.units import ROLE_UNITS
from config.values import (
    Date,
    Number,
    Text,
    Whole,
    YesNo,
    above,
    choice_reader,
    read_pressure_location,
    within,
    word_reader,
)

_FRACTION_REMEDY: Final = "write a fraction, for example 0.92 for 92 %"
Fraction = Annotated[Number, above(0.0, 1.0, _FRACTION_REMEDY)]
SheaveMm = Annotated[Number, within(25.0, 3000.0, "write the pitch diameter in mm; inches go under ..._in")]
SheaveIn = Annotated[Number, within(0.9, 120.0, "write the pitch diameter in inches; mm go under ..._mm")]
DistanceMm = Annotated[Number, within(50.0, 10_000.0, "write the distance in mm; inches go under ..._in")]
DistanceIn = Annotated[Number, within(2.0, 400.0, "write the distance in inches; mm go under ..._mm")]
Rpm = Annotated[Number, within(50.0, 20_000.0, "write revolutions per minute")]
Frequency = Annotated[Number, within(5.0, 400.0, "write a frequency in Hz")]
ZeroFrequency = Annotated[Number, within(0.0, 400.0, "write a frequency in Hz")]
Amps = Annotated[Number, above(0.0, 5000.0, "write amperes")]
# A permanent-magnet motor without load draws next to nothing.
AmpsOrNone = Annotated[Number, within(0.0, 5000.0, "write amperes")]
HoldDays = Annotated[Whole, within(1, 60, "write a number of days")]


class FanRow(Table):
    """One row of fans.csv: a fan in one epoch, each cell read but not yet converted."""

    fan: Text
    valid_from: Date | None = Field(default=None, alias="from")
    building: Text | None = None
    location: Text | None = None
    access: Text | None = None
    serves: Text | None = None
    duty: Annotated[Duty, BeforeValidator(word_reader(Duty))] = Duty.SUPPLY
    criticality: Annotated[Criticality, BeforeValidator(word_reader(Criticality))] = Criticality.NORMAL
    round_order: Number | None = None

    fan_type: Annotated[FanType, BeforeValidator(word_reader(FanType))] = FanType.UNKNOWN
    design_airflow_cfm: Annotated[Number, above(0.0, 2e6, "write a positive airflow")] | None = None
    design_airflow_m3s: Annotated[Number, above(0.0, 1e3, "write m3/s; other units have columns")] | None = (
        None
    )
    design_airflow_ls: Annotated[Number, above(0.0, 1e6, "write a positive airflow")] | None = None
    design_airflow_m3h: Annotated[Number, above(0.0, 4e6, "write a positive airflow")] | None = None
    design_pressure_inwg: (
        Annotated[
            Number, above(0.0, 60.0, "write the rise as a positive number of inches; Pa go under ..._pa")
        ]
        | None
    ) = None
    design_pressure_pa: (
        Annotated[
            Number,
            within(5.0, 15_000.0, "write the rise as a positive number of Pa; inches go under ..._inwg"),
        ]
        | None
    ) = None
    design_fan_rpm: Rpm | None = None
    fan_max_rpm: Rpm | None = None

    drive: Annotated[Drive, BeforeValidator(word_reader(Drive))]
    motor_sheave_mm: SheaveMm | None = None
    motor_sheave_in: SheaveIn | None = None
    fan_sheave_mm: SheaveMm | None = None
    fan_sheave_in: SheaveIn | None = None
    sheave_adjustable: YesNo | None = None
    belt_section: Text | None = None
    belt_length: Text | None = None
    belt_count: Annotated[Whole, within(1, 40, "write the number of belts")] | None = None
    belt_tensioner: Text | None = None
    centre_distance_mm: DistanceMm | None = None
    centre_distance_in: DistanceIn | None = None
    bearing_bore_mm: Annotated[Number, within(5.0, 500.0, "write the bore in mm")] | None = None
    bearing_type: Text | None = None
    bearing_lubrication: Annotated[
        BearingLubrication | None, BeforeValidator(word_reader(BearingLubrication))
    ] = None

    motor_hp: Annotated[Number, above(0.0, 5000.0, "write the rated shaft output in hp")] | None = None
    motor_kw: Annotated[Number, above(0.0, 4000.0, "write kW, not W")] | None = None
    motor_type: Annotated[MotorType, BeforeValidator(word_reader(MotorType))] = MotorType.INDUCTION
    motor_count: Annotated[Whole, within(1, 64, "write how many motors turn this fan or array")] = 1
    motor_volts: Annotated[Number, within(12.0, 15_000.0, "write volts")] | None = None
    motor_fla: Amps | None = None
    motor_rpm: Rpm | None = None
    motor_hz: Frequency | None = None
    motor_pf: Fraction | None = None
    motor_efficiency: Fraction | None = None
    motor_no_load_a: AmpsOrNone | None = None
    motor_service_factor: Annotated[Number, within(1.0, 2.0, "write it like 1.15")] | None = None

    speed_control: Annotated[SpeedControl, BeforeValidator(word_reader(SpeedControl))] = SpeedControl.VFD
    max_hz: Frequency | None = None
    zero_hz: ZeroFrequency = 0.0
    min_hz: ZeroFrequency | None = None
    slip_compensation: YesNo = False
    speed_signal: Annotated[SpeedSignal | None, BeforeValidator(word_reader(SpeedSignal))] = None

    pressure_location: Annotated[PressureLocation, BeforeValidator(read_pressure_location)] = (
        PressureLocation.DUCT
    )
    airflow_basis: Annotated[AirflowBasis, BeforeValidator(word_reader(AirflowBasis))] = AirflowBasis.ACTUAL
    current_at: Annotated[CurrentAt, BeforeValidator(word_reader(CurrentAt))] = CurrentAt.MOTOR
    power_at: Annotated[PowerAt, BeforeValidator(word_reader(PowerAt))] = PowerAt.LINE

    speed_point: Text | None = None
    current_point: Text | None = None
    power_point: Text | None = None
    torque_point: Text | None = None
    airflow_point: Text | None = None
    pressure_point: Text | None = None
    air_temperature_point: Text | None = None
    run_status_point: Text | None = None
    motor_speed_point: Text | None = None
    wheel_speed_point: Text | None = None
    outdoor_air_damper_point: Text | None = None

    baseline_from: Date | None = None
    baseline_to: Date | None = None
    slip_watch_pct: Percent | None = None
    slip_act_pct: Percent | None = None
    drive_loss_rise_watch_pct: Percent | None = None
    drive_loss_rise_act_pct: Percent | None = None
    hold_days: HoldDays | None = None
    false_alerts_per_fan_year: Annotated[Number, above(0.0, 12.0, "write alerts a fan and year")] | None = (
        None
    )

    speed_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.SPEED]))] = None
    current_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.CURRENT]))] = None
    power_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.POWER]))] = None
    torque_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.TORQUE]))] = None
    airflow_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.AIRFLOW]))] = None
    pressure_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.PRESSURE]))] = None
    air_temperature_unit: Annotated[
        str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.AIR_TEMPERATURE]))
    ] = None
    run_status_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.RUN_STATUS]))] = None
    motor_speed_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.MOTOR_SPEED]))] = (
        None
    )
    wheel_speed_unit: Annotated[str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.WHEEL_SPEED]))] = (
        None
    )
    outdoor_air_damper_unit: Annotated[
        str | None, BeforeValidator(choice_reader(ROLE_UNITS[Role.OUTDOOR_AIR_DAMPER]))
    ] = None

    speed_full_scale: Number | None = None
    current_full_scale: Amps | None = None
    power_full_scale: Number | None = None
    torque_full_scale: Number | None = None
    airflow_full_scale: Number | None = None
    pressure_full_scale: Number | None = None
    air_temperature_full_scale: Number | None = None
    run_status_full_scale: Number | None = None
    motor_speed_full_scale: Number | None = None
    wheel_speed_full_scale: Number | None = None
    outdoor_air_damper_full_scale: Number | None = None

    def point(self, role: Role) -> str | None:
        """Return the trend point of a role, if the row names one."""
        value: str | None = getattr(self, f"{role}_point")
        return value

    def unit(self, role: Role) -> str | None:
        """Return the row's own unit of a role."""
        value: str | None = getattr(self, f"{role}_unit")
        return value

    def full_scale(self, role: Role) -> float | None:
        """Return the row's own full scale of a role."""
        value: float | None = getattr(self, f"{role}_full_scale")
        return value
