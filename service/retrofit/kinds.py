"""What was changed, what must therefore be equal before and after, and did one instrument read both?"""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from analytics.compared_hours import Basis
from analytics.vocabulary import Work
from config.epoch import FanEpoch
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.retrofit.periods import Period
from service.words import plain_date

_OF_DRIVE: Final = (
    Work.RETENSIONED,
    Work.BELT_REPLACED,
    Work.ALIGNED,
    Work.TIGHTENED,
    Work.GREASED,
    Work.BEARING_REPLACED,
    Work.TENSIONER_FITTED,
    Work.WHEEL_CLEANED,
    Work.WHEEL_REPLACED,
    Work.MOTOR_REPLACED,
)
_OF_AIR: Final = (
    Work.SHEAVE_CHANGED,
    Work.DRIVE_REPLACED,
    Work.SETPOINT_CHANGED,
    Work.SPEED_LIMIT_CHANGED,
    Work.FILTER_CHANGED,
    Work.COIL_CLEANED,
)
# A new belt stretches and beds in; a tightened one does for two days.
_RUN_IN_DAYS: Final = {Work.BELT_REPLACED: 7, Work.RETROFIT: 7, Work.TENSIONER_FITTED: 7, Work.RETENSIONED: 2}


@dataclass(frozen=True, slots=True)
class Change:
    """What lies between two periods.

    `basis` and `basis_reason` in words; `what` was changed, in words; `is_motor_new`, `is_drive_new` where
    motor or variable-frequency drive is another; `inside` the work done within a period; `calibrated` the
    sensors' calibrations from the first day before to the last one after.
    """

    basis: Basis
    basis_reason: str
    what: tuple[str, ...]
    is_motor_new: bool
    is_drive_new: bool
    inside: tuple[ServiceEntry, ...]
    calibrated: tuple[ServiceEntry, ...]


def change_between(site: SiteFolder, fan: str, before: Period, after: Period, asked: Basis | None) -> Change:
    """Read from the service log and fans.csv what was changed between two periods."""
    entries = [one for one in site.entries(fan) if one.work is not Work.INSPECTED]
    between = [one for one in entries if before.last <= one.date <= after.first]
    inside = [one for one in entries if one not in between and before.first <= one.date <= after.last]
    first, second = site.epoch_at(fan, before.last), site.epoch_at(fan, after.first)
    of_drive = [_work(one) for one in between if one.work in _OF_DRIVE]
    of_air = [_work(one) for one in between if one.work in _OF_AIR]
    told, is_motor_new, is_control_new = [], False, False
    if first is not None and second is not None and first is not second:
        drive_told, air_told, is_motor_new, is_control_new = _differences(first, second)
        of_drive += drive_told
        of_air += air_told
    told = [*of_drive, *of_air, *(_work(one) for one in between if one.work is Work.RETROFIT)]
    works = {one.work for one in between}
    basis, reason = _basis(of_drive, of_air, asked)
    return Change(
        basis,
        reason,
        tuple(told) or ("nothing is logged between the periods, and fans.csv is the same",),
        is_motor_new or Work.MOTOR_REPLACED in works,
        is_control_new or Work.DRIVE_REPLACED in works,
        tuple(inside),
        tuple(
            one
            for one in entries
            if one.work is Work.SENSOR_CALIBRATED and before.first <= one.date <= after.last
        ),
    )


def _work(entry: ServiceEntry) -> str:
    return f"{entry.work.value.replace('_', ' ')} on {plain_date(entry.date)}"


def differences(first: FanEpoch, second: FanEpoch) -> list[str]:
    """Say in words what the rows of fans.csv before and after a date have changed of drive and control."""
    of_drive, of_air, _, _ = _differences(first, second)
    return [*of_drive, *of_air]


def _differences(first: FanEpoch, second: FanEpoch) -> tuple[list[str], list[str], bool, bool]:
    one, other = first.machine, second.machine
    of_drive, of_air = [], []
    if one.drive is not other.drive:
        of_drive.append(f"{_plain(one.drive)} to {_plain(other.drive)} (fans.csv)")
    motor = ("motor_rated_power_w", "motor_type", "motor_rpm", "motor_efficiency", "motor_rated_current_a")
    is_motor_new = any(getattr(one, name) != getattr(other, name) for name in motor)
    if is_motor_new:
        of_drive.append("another motor (fans.csv)")
    is_control_new = one.speed_control is not other.speed_control
    if is_control_new:
        of_air.append(f"{_plain(one.speed_control)} to {_plain(other.speed_control)} control (fans.csv)")
    sheaves = [(m.motor_sheave_m, m.wheel_sheave_m) for m in (one, other)]
    if one.drive is other.drive and sheaves[0] != sheaves[1]:
        of_air.append("other sheaves (fans.csv)")
    return of_drive, of_air, is_motor_new, is_control_new


def _plain(word: str) -> str:
    return str(word).replace("_", " ")


def _basis(of_drive: list[str], of_air: list[str], asked: Basis | None) -> tuple[Basis, str]:
    if asked is not None:
        return asked, "as asked"
    if of_air:
        return Basis.AIR, f"chosen because of: {', '.join(of_air)}"
    if of_drive:
        return Basis.DRIVE, f"chosen because of: {', '.join(of_drive)}"
    return Basis.DRIVE, "by default: no kind of work is named between the periods"


def run_in(site: SiteFolder, fan: str) -> dict[dt.date, int]:
    """Return how many days from each date on a belt of the fan runs in."""
    found: dict[dt.date, int] = {}
    for entry in site.entries(fan):
        days = _RUN_IN_DAYS.get(entry.work, 0)
        epoch = site.epoch_at(fan, entry.date)
        if days and epoch is not None and epoch.machine.drive.can_slip:
            found[entry.date] = max(days, found.get(entry.date, 0))
    return found
