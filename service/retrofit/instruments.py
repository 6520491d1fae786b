"""Did one instrument read both periods?"""

from collections.abc import Collection, Sequence
from typing import Final

import pandas as pd

from analytics.compared_hours import Basis, Meter
from analytics.curves import HealthyCurves
from analytics.model import LoadKind
from analytics.vocabulary import CurrentAt, PowerAt, Role
from config.epoch import FanEpoch
from service.retrofit.kinds import Change
from service.retrofit.readings import electrical_role
from service.words import plain_date

_SHAFT_ROLES: Final = {
    LoadKind.CURRENT: Role.CURRENT,
    LoadKind.POWER: Role.POWER,
    LoadKind.TORQUE: Role.TORQUE,
}


def why_not_comparable(
    change: Change,
    epochs: Sequence[FanEpoch],
    hours: Sequence[pd.DataFrame],
    curves: HealthyCurves,
    meter: Meter,
) -> str | None:
    """Say why what was read before cannot be held against what was read after; None where it can.

    Parameters: `epochs` and `hours` of both periods; `curves` of the fan; `meter`.
    """
    return _unreadable(change, epochs, hours, meter) or recalibrated(
        change, _roles_compared(change.basis, hours[0], epochs[0], curves)
    )


def _unreadable(
    change: Change, epochs: Sequence[FanEpoch], hours: Sequence[pd.DataFrame], meter: Meter
) -> str | None:
    first, second = epochs
    if meter.is_electrical:
        roles = [electrical_role(frame, epoch.machine) for frame, epoch in zip(hours, epochs, strict=True)]
        if roles[1] is None:
            return "electrical input was read before the change and not after it"
        if roles[0] is not roles[1]:
            said = ["kW" if role is Role.POWER else "amps of the line" for role in roles]
            return f"electrical input was read as {said[0]} before and as {said[1]} after: two instruments"
    return two_instruments(change, first, second, meter.is_electrical)


def _roles_compared(basis: Basis, hours: pd.DataFrame, first: FanEpoch, curves: HealthyCurves) -> set[Role]:
    power = electrical_role(hours, first.machine) or _SHAFT_ROLES.get(curves.channels.load_kind)
    roles = {Role.AIRFLOW, *([power] if power is not None else [])}
    return roles | {Role.PRESSURE} if basis is Basis.DRIVE else roles


def two_instruments(change: Change, first: FanEpoch, second: FanEpoch, is_electrical: bool) -> str | None:
    """Say why the power before and after was read by two instruments; None where one read both."""
    role = Role.POWER if Role.POWER in first.points and Role.POWER in second.points else None
    names = [epoch.points.get(role or Role.CURRENT) for epoch in (first, second)]
    if names[0] != names[1]:
        return f"the power before is read from {names[0]!r}, after from {names[1]!r}: two instruments"
    if change.is_motor_new and not is_electrical:
        return (
            "the motor was replaced, and shaft power is inferred from what it draws: two instruments; "
            "a kW point that read both would show the saving"
        )
    if change.is_drive_new and not _is_own_meter(first, second):
        return (
            "the variable-frequency drive was replaced and may supply amps and kW itself: two instruments; "
            "where one meter on the line read both, write power_at = line in fans.csv"
        )
    return None


def recalibrated(change: Change, roles: Collection[Role]) -> str | None:
    """Say that a reading the comparison rests on was calibrated meanwhile; None where none was.

    A gain that stands in both periods goes out of the ratio; one that was put right in between does not.
    """
    for entry in change.calibrated:
        if entry.role is None or entry.role in roles:
            what = "every sensor" if entry.role is None else f"{entry.role.value.replace('_', ' ')} sensor"
            return (
                f"the log has {what} calibrated on {plain_date(entry.date)}: before and after it are two "
                "instruments; compare times on one side of it"
            )
    return None


def _is_own_meter(first: FanEpoch, second: FanEpoch) -> bool:
    def is_at_line(epoch: FanEpoch) -> bool:
        if Role.POWER in epoch.points:
            return "power_at" in epoch.given and epoch.machine.power_at is PowerAt.LINE
        return "current_at" in epoch.given and epoch.machine.current_at is CurrentAt.LINE

    return is_at_line(first) and is_at_line(second)
