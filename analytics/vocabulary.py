"""The words of the trade that the product uses, each spelled once.

Their meanings stand in the glossary of DEVELOPERS.md. A stored word is never renamed or reused.
"""

from enum import StrEnum


class Duty(StrEnum):
    """What the fan does for the building."""

    SUPPLY = "supply"
    RETURN = "return"
    EXHAUST = "exhaust"
    RELIEF = "relief"


class Criticality(StrEnum):
    """How much hangs on the fan."""

    NORMAL = "normal"
    CRITICAL = "critical"
    LIFE_SAFETY = "life_safety"


class FanType(StrEnum):
    """The wheel's blading, which sets the usual shape of its curves."""

    FORWARD_CURVED = "forward_curved"
    BACKWARD_INCLINED = "backward_inclined"
    AIRFOIL = "airfoil"
    PLENUM = "plenum"
    MIXED_FLOW = "mixed_flow"
    RADIAL = "radial"
    AXIAL = "axial"
    UNKNOWN = "unknown"


class Drive(StrEnum):
    """How the motor turns the wheel."""

    V_BELT = "v_belt"
    COGGED_BELT = "cogged_belt"
    SYNCHRONOUS_BELT = "synchronous_belt"
    FLAT_BELT = "flat_belt"
    DIRECT = "direct"

    @property
    def can_slip(self) -> bool:
        """Whether the drive carries its torque by friction."""
        return self in (Drive.V_BELT, Drive.COGGED_BELT, Drive.FLAT_BELT)


class BearingLubrication(StrEnum):
    """How the fan bearings are lubricated."""

    GREASE = "grease"
    SEALED = "sealed"


class MotorType(StrEnum):
    """Whether the motor has slip and a magnetising current."""

    INDUCTION = "induction"
    PERMANENT_MAGNET = "permanent_magnet"


class SpeedControl(StrEnum):
    """How the fan's output is controlled."""

    VFD = "vfd"
    CONSTANT = "constant"
    TWO_SPEED = "two_speed"
    INLET_VANES = "inlet_vanes"


class SpeedSignal(StrEnum):
    """What the speed point says."""

    COMMAND = "command"
    OUTPUT_FREQUENCY = "output_frequency"
    MOTOR_RPM = "motor_rpm"


class PressureLocation(StrEnum):
    """Where the pressure point is measured."""

    ACROSS_FAN = "across_fan"
    FAN_OUTLET = "fan_outlet"
    FAN_INLET = "fan_inlet"
    DUCT = "duct"


class AirflowBasis(StrEnum):
    """Whether the airflow point reports actual or standard volume."""

    ACTUAL = "actual"
    STANDARD = "standard"


class CurrentAt(StrEnum):
    """Where the current is measured."""

    MOTOR = "motor"
    LINE = "line"


class PowerAt(StrEnum):
    """Where the power is measured or estimated."""

    LINE = "line"
    DRIVE_OUTPUT = "drive_output"
    SHAFT = "shaft"


class Role(StrEnum):
    """What a trend point measures; `<role>_point` is its column in fans.csv."""

    SPEED = "speed"
    CURRENT = "current"
    POWER = "power"
    TORQUE = "torque"
    AIRFLOW = "airflow"
    PRESSURE = "pressure"
    AIR_TEMPERATURE = "air_temperature"
    RUN_STATUS = "run_status"
    MOTOR_SPEED = "motor_speed"
    WHEEL_SPEED = "wheel_speed"
    OUTDOOR_AIR_DAMPER = "outdoor_air_damper"


class Work(StrEnum):
    """What was done to a fan, as the service log says it."""

    RETENSIONED = "retensioned"
    BELT_REPLACED = "belt_replaced"
    ALIGNED = "aligned"
    TIGHTENED = "tightened"
    GREASED = "greased"
    BEARING_REPLACED = "bearing_replaced"
    SHEAVE_CHANGED = "sheave_changed"
    TENSIONER_FITTED = "tensioner_fitted"
    WHEEL_CLEANED = "wheel_cleaned"
    WHEEL_REPLACED = "wheel_replaced"
    MOTOR_REPLACED = "motor_replaced"
    DRIVE_REPLACED = "drive_replaced"
    SENSOR_CALIBRATED = "sensor_calibrated"
    FILTER_CHANGED = "filter_changed"
    COIL_CLEANED = "coil_cleaned"
    SETPOINT_CHANGED = "setpoint_changed"
    SPEED_LIMIT_CHANGED = "speed_limit_changed"
    INSPECTED = "inspected"
    RETROFIT = "retrofit"


class Cause(StrEnum):
    """What explains a day's numbers."""

    NONE = "none"
    BELT_SLIP = "belt_slip"
    DRIVE_LOST = "drive_lost"
    DRAG = "drag"
    RATIO_CHANGE = "ratio_change"
    WHEEL = "wheel"
    AIR_PATH = "air_path"
    AIRFLOW_SENSOR = "airflow_sensor"
    PRESSURE_SENSOR = "pressure_sensor"
    CURRENT_SENSOR = "current_sensor"
    SPEED_NOT_FOLLOWED = "speed_not_followed"
    UNCLEAR = "unclear"
    NOT_JUDGED = "not_judged"


class AlertKind(StrEnum):
    """What an alert is about."""

    BELT_SLIP = "belt_slip"
    DRIVE_LOSS = "drive_loss"
    DRIVE_LOST = "drive_lost"
    NOTICE = "notice"


class AlertLevel(StrEnum):
    """How soon an alert wants a visit."""

    WATCH = "watch"
    ACT = "act"


class ClosedBy(StrEnum):
    """What closed an alert."""

    SERVICE = "service"
    PERSON = "person"
    DATA = "data"
    DATA_CHANGED = "data_changed"
