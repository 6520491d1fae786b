"""Whose work an alert is: the mechanics' or the controls contractor's."""

from collections.abc import Sequence
from typing import Final

from analytics.notices import NO_DRIVE_FAULT, UNSURE_FAULT
from analytics.vocabulary import AlertKind, AlertLevel, Cause, Role
from service.notices.notice import Trade

# The points that a fault of readings or commands is about.
POINTS: Final[dict[Cause, tuple[Role, ...]]] = {
    Cause.AIRFLOW_SENSOR: (Role.AIRFLOW,),
    Cause.PRESSURE_SENSOR: (Role.PRESSURE,),
    Cause.CURRENT_SENSOR: (Role.TORQUE, Role.POWER, Role.CURRENT),
    Cause.SPEED_NOT_FOLLOWED: (Role.SPEED, Role.MOTOR_SPEED),
}


def trade_of(kind: AlertKind, level: AlertLevel, topic: str, causes: Sequence[Cause]) -> Trade:
    """Return whose work an alert is: of controls where a sensor or a command is at fault and no drive.

    `causes`, the alert's or those it cannot tell apart: one that is no controls' work sends a mechanic.

    A drive that cannot slip and turns slower than told may have its wheel loose: that wants a visit first.
    """
    is_grave = level is AlertLevel.ACT and topic in (NO_DRIVE_FAULT, UNSURE_FAULT)
    is_controls = kind is AlertKind.NOTICE and POINTS.keys() >= set(causes) and not is_grave
    return Trade.CONTROLS if is_controls else Trade.MECHANICS
