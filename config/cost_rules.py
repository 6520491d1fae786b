"""Which facts a fan's row may lack and what each costs: the table behind `check`.

The figures are those of the physics the product works by: a share of the error of slip a day where a
number of points is named.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import CurrentAt, MotorType, PowerAt, PressureLocation, Role, SpeedControl
from config.epoch import FanEpoch
from config.site import Site


@dataclass(frozen=True, slots=True)
class Rule:
    """A fact, when a fan lacks it, and what that costs."""

    fact: str
    is_lacking: Callable[[FanEpoch, Site], bool]
    effect: str


def _has(fan: FanEpoch, *roles: Role) -> bool:
    return any(role in fan.points for role in roles)


def _blank(fan: FanEpoch, *columns: str) -> bool:
    return not any(column in fan.given for column in columns)


def _is_induction(fan: FanEpoch) -> bool:
    return fan.machine.motor_type is MotorType.INDUCTION


def _is_on_drive(fan: FanEpoch) -> bool:
    return fan.machine.speed_control is SpeedControl.VFD


def _lacks_speed(fan: FanEpoch, _site: Site) -> bool:
    is_constant = fan.machine.speed_control is SpeedControl.CONSTANT
    return not is_constant and not _has(fan, Role.SPEED, Role.MOTOR_SPEED)


def _lacks_load(fan: FanEpoch, _site: Site) -> bool:
    return not _has(fan, Role.CURRENT, Role.POWER, Role.TORQUE)


def _lacks_air(fan: FanEpoch, _site: Site) -> bool:
    return not _has(fan, Role.AIRFLOW, Role.PRESSURE)


def _has_amps_alone(fan: FanEpoch, _site: Site) -> bool:
    return _has(fan, Role.CURRENT) and not _has(fan, Role.POWER, Role.TORQUE)


def _reads_motor_amps(fan: FanEpoch) -> bool:
    return (
        _has(fan, Role.CURRENT)
        and not _has(fan, Role.TORQUE)
        and _is_induction(fan)
        and fan.machine.current_at is CurrentAt.MOTOR
    )


def _lacks_temperature(fan: FanEpoch, site: Site) -> bool:
    return not _has(fan, Role.AIR_TEMPERATURE) and not site.outdoor_temperature_point


def _lacks_damper(fan: FanEpoch, _site: Site) -> bool:
    is_in_path = fan.machine.pressure_location in (PressureLocation.DUCT, PressureLocation.FAN_INLET)
    return is_in_path and _has(fan, Role.PRESSURE) and not _has(fan, Role.OUTDOOR_AIR_DAMPER)


def _has_idle_full_scale(fan: FanEpoch, _site: Site) -> bool:
    given = {column for column in fan.given if column.endswith("_full_scale")}
    current = fan.units.get(Role.CURRENT)
    is_read = current is not None and current.unit == "percent"
    return bool(given - ({"current_full_scale"} if is_read else set()))


def _reads_line_power(fan: FanEpoch) -> bool:
    return _has(fan, Role.POWER) and fan.machine.power_at is not PowerAt.SHAFT


def _is_speed_scaled(fan: FanEpoch) -> bool:
    return _has(fan, Role.SPEED) and _is_on_drive(fan) and fan.speed_unit.unit in ("percent", "fraction")


# The dearest first.
FAN_RULES: Final = (
    Rule(
        "speed_point",
        _lacks_speed,
        "the motor's speed is not known, so the fan cannot be held against its curves; write "
        "speed_control = constant where it has one speed",
    ),
    Rule(
        "airflow_point and pressure_point",
        _lacks_air,
        "neither slip nor drag can be told; excess power shows only where the work is the same every day",
    ),
    Rule(
        "pressure_point",
        lambda fan, _site: not _has(fan, Role.PRESSURE) and _has(fan, Role.AIRFLOW),
        "only the net of slip and drag is seen, in which one hides the other; not seen is not none",
    ),
    Rule(
        "airflow_point",
        lambda fan, _site: not _has(fan, Role.AIRFLOW) and _has(fan, Role.PRESSURE),
        "airflow is inferred from pressure and load where the fan's curve allows: slip is far less certain",
    ),
    Rule(
        "current_point, power_point or torque_point",
        _lacks_load,
        "the motor's load is not seen: no drag, no drive loss, and a lost belt only from pressure or airflow",
    ),
    Rule(
        "power_point or torque_point",
        _has_amps_alone,
        "drag and a drifting current reading look alike in amps, so both are named; with kW drag is known to "
        "0.4 % of rated torque after a week, with amps to 3 % after 20 office days",
    ),
    Rule(
        "motor_fla",
        lambda fan, _site: _has(fan, Role.CURRENT) and fan.machine.motor_rated_current_a is None,
        "torque from current is scaled by an estimate of the rated current",
    ),
    Rule(
        "motor_no_load_a",
        lambda fan, _site: _reads_motor_amps(fan) and fan.machine.motor_no_load_current_a is None,
        "the magnetising current is inferred (0.25 to 0.55 of rated, by size), which widens the level of "
        "torque; read it once with the belts off, locked and tagged out while they come off and go on",
    ),
    Rule(
        "motor_rpm",
        lambda fan, _site: _is_induction(fan) and fan.machine.motor_rpm is None,
        "the motor's own slip and pole count are estimated: 0.2 to 0.8 points of speed",
    ),
    Rule(
        "motor_rpm and motor_hz",
        lambda fan, _site: _blank(fan, "motor_rpm", "motor_hz"),
        "the base frequency is taken from motor_volts, else as 60 Hz",
    ),
    Rule(
        "motor_efficiency",
        lambda fan, _site: _reads_line_power(fan) and fan.machine.motor_efficiency is None,
        "shaft power is taken from electrical power by a usual efficiency of the motor's size",
    ),
    Rule(
        "motor_volts, motor_pf",
        lambda fan, _site: (
            _has_amps_alone(fan, _site)
            and _blank(fan, "motor_fla")
            and (fan.machine.motor_volts is None or fan.machine.motor_power_factor is None)
        ),
        "the estimate of the rated current is cruder still",
    ),
    Rule(
        "pressure_location",
        lambda fan, _site: _has(fan, Role.PRESSURE) and _blank(fan, "pressure_location"),
        "duct is assumed; there filters, coils and dampers move the reading too, so slip is known to about "
        "1 point a day where a pressure across the fan gives 0.3",
    ),
    Rule(
        "air_temperature_point",
        _lacks_temperature,
        "the air's density swings unseen with the season and widens slip by its swing",
    ),
    Rule(
        "fan_type",
        lambda fan, _site: _blank(fan, "fan_type"),
        "the curves' shape is expected as of any fan, which is vague where the healthy period is narrow",
    ),
    Rule(
        "outdoor_air_damper_point",
        _lacks_damper,
        "an economiser's moves are mistaken for hours: as much as 0.9 to 2 points of slip",
    ),
    Rule(
        "max_hz, zero_hz",
        lambda fan, _site: _is_speed_scaled(fan) and _blank(fan, "max_hz"),
        "100 % of the speed point is taken for motor_hz and 0 % for zero_hz (0 unless given)",
    ),
    Rule(
        "speed_signal",
        lambda fan, _site: (
            _has(fan, Role.SPEED)
            and _is_on_drive(fan)
            and fan.speed_unit.unit != "rpm"
            and _blank(fan, "speed_signal")
        ),
        "the speed point is taken for a command, which the drive may not have followed",
    ),
    Rule(
        "slip_compensation",
        lambda fan, _site: (
            _has(fan, Role.SPEED)
            and _is_on_drive(fan)
            and _is_induction(fan)
            and _blank(fan, "slip_compensation")
        ),
        "no is assumed; a drive that compensates turns the motor faster than reckoned, by its rated slip",
    ),
    Rule(
        "airflow_basis",
        lambda fan, _site: _has(fan, Role.AIRFLOW) and _blank(fan, "airflow_basis"),
        "actual is assumed; thermal stations report standard flow, which 30 K moves by 10 %",
    ),
    Rule(
        "current_at",
        lambda fan, _site: _has(fan, Role.CURRENT) and _is_on_drive(fan) and _blank(fan, "current_at"),
        "amps are taken at the motor; amps on the line side of a drive follow power, not torque",
    ),
    Rule(
        "power_at",
        lambda fan, _site: _has(fan, Role.POWER) and _blank(fan, "power_at"),
        "power is taken on the line side, with the losses of drive and motor still to come off",
    ),
    Rule(
        "motor_sheave and fan_sheave",
        lambda fan, _site: (
            fan.machine.drive.can_slip
            and (fan.machine.motor_sheave_m is None or fan.machine.wheel_sheave_m is None)
        ),
        "a tachometer pair has no ratio to be held against, so the level of slip rests on what is usual: "
        "1.0 % (0.3 to 2.0) when healthy",
    ),
    Rule(
        "wheel_speed_point",
        lambda fan, _site: fan.machine.drive.can_slip and not _has(fan, Role.WHEEL_SPEED),
        "slip is inferred; this is the one point that would measure it",
    ),
    Rule(
        "<role>_full_scale",
        _has_idle_full_scale,
        "it has no effect: only a current in percent is read against a full scale",
    ),
    Rule(
        "location",
        lambda fan, _site: _blank(fan, "location", "building"),
        "whoever is sent there has only the fan's name to go by",
    ),
)
