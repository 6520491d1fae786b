"""What is looked at on a round, fan by fan: each item with its measure and when it was last done."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analytics.belt_tension import (
    NEW_ROOM,
    RUN_IN_ROOM,
    alignment_tolerance_m,
    deflection_force_n,
    deflection_m,
    span_m,
    strand_tension,
    wrap_rad,
)
from analytics.vocabulary import BearingLubrication, Drive, Work
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from config.units import INCH_M, POUND_FORCE_N
from service.store.due_words import relubrication_interval
from service.words import plain_date

_MM: Final = 1000.0
_BELTED: Final = (Drive.V_BELT, Drive.COGGED_BELT, Drive.FLAT_BELT, Drive.SYNCHRONOUS_BELT)
_LESS_SURE: Final = "the maker's table for the section goes first"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at: what, how and by which measure, and when it was last entered in the log.

    `last` None where the log has nothing of the kind; `days` since then.
    """

    what: str
    how: str
    last: dt.date | None
    days: int | None

    @property
    def last_words(self) -> str:
        """When it was last done, in words."""
        if self.last is None:
            return "not in the log"
        return f"{plain_date(self.last)}, {self.days} days ago"


def items_of(
    epoch: FanEpoch, done: Sequence[ServiceEntry], day: dt.date, wheel_rpm: float | None
) -> tuple[Item, ...]:
    """Return what is looked at on a fan; a direct drive has its own short list.

    Parameters: `done`, the fan's entries up to `day`; `wheel_rpm` at the usual command, None if not known.
    """
    drive = epoch.machine.drive
    listed: list[tuple[str, str, tuple[Work, ...]]] = [
        (
            "Locked out, tested dead, wheel blocked",
            "at the local isolator, not at the screen; the drive's waiting time kept. Initials: ______",
            (),
        ),
        *(_belt_items(epoch) if drive in _BELTED else _direct_items()),
        ("Bearings", _grease(epoch, wheel_rpm), (Work.GREASED, Work.BEARING_REPLACED)),
        ("Noise, heat, dust", "listen and look before stopping; heat by a probe, never by hand", ()),
        ("Wheel and inlet", "dirt, cracks, rubbing, loose hub", (Work.WHEEL_CLEANED, Work.WHEEL_REPLACED)),
    ]
    return tuple(_item(what, how, works, done, day) for what, how, works in listed)


def tension_words(epoch: FanEpoch) -> str:
    """Say how a belt's tension is read on this drive, blanks where its measures are not declared."""
    machine = epoch.machine
    if machine.drive is Drive.SYNCHRONOUS_BELT:
        return f"by {_deflection(epoch)} and the maker's force for the belt's pitch and width"
    if machine.drive is Drive.FLAT_BELT:
        return "by the maker's elongation for the belt"
    return f"by {_deflection(epoch)}; {_force(epoch)}"


def _item(what: str, how: str, works: tuple[Work, ...], done: Sequence[ServiceEntry], day: dt.date) -> Item:
    last = max((entry.date for entry in done if entry.work in works), default=None)
    return Item(what, how, last, None if last is None else (day - last).days)


def _belt_items(epoch: FanEpoch) -> list[tuple[str, str, tuple[Work, ...]]]:
    is_toothed = epoch.machine.drive is Drive.SYNCHRONOUS_BELT
    wear = (
        "teeth and flanges: worn, cracked, sheared"
        if is_toothed
        else (
            "gauge in each groove; shiny bottoms, a belt below the rim, cracks, glazing, unequal belts: "
            "renew all as "
            "one matched set"
        )
    )
    return [
        ("Set screws, keys, bearing collars", "tight to their torque", (Work.TIGHTENED,)),
        ("Sheave alignment", _alignment(epoch), (Work.ALIGNED, Work.SHEAVE_CHANGED)),
        ("Belt tension", tension_words(epoch), (Work.RETENSIONED, Work.BELT_REPLACED)),
        ("Belts and grooves", wear, (Work.BELT_REPLACED, Work.SHEAVE_CHANGED)),
    ]


def _direct_items() -> list[tuple[str, str, tuple[Work, ...]]]:
    return [
        (
            "Hub, key and coupling",
            "hub screws tight to their torque; coupling element whole",
            (Work.TIGHTENED,),
        ),
        ("Motor mounts", "bolts, rubbers, cable clear of the wheel", (Work.TIGHTENED,)),
    ]


def _alignment(epoch: FanEpoch) -> str:
    is_toothed = epoch.machine.drive is Drive.SYNCHRONOUS_BELT
    rule = "1/16 in a foot" if is_toothed else "1/10 in a foot, half a degree"
    if epoch.centre_distance_m is None:
        per_metre = float(alignment_tolerance_m(1.0, is_toothed)) * _MM
        return f"straightedge over both faces: within {per_metre:.1f} mm a metre of centre distance ({rule})"
    offset = float(alignment_tolerance_m(epoch.centre_distance_m, is_toothed))
    return f"straightedge over both faces: within {_length(offset)} here ({rule})"


def _deflection(epoch: FanEpoch) -> str:
    span = _span(epoch)
    if span is None:
        return "pressing the middle of the span by 1/64 of it (span: ______)"
    return f"pressing the middle of the {_long(span)} span by {_length(float(deflection_m(span)))}"


def _force(epoch: FanEpoch) -> str:
    machine, count = epoch.machine, epoch.belt_count
    if _span(epoch) is None or count is None or machine.motor_rpm is None:
        return f"force a belt: ______ ({_LESS_SURE})"
    wrap = wrap_rad(
        epoch.centre_distance_m or np.nan, machine.motor_sheave_m or np.nan, machine.wheel_sheave_m or 1.0
    )
    power = machine.motor_rated_power_w * machine.motor_count
    standing = strand_tension(power, machine.motor_rpm, machine.motor_sheave_m or np.nan, wrap).standing
    force = float(deflection_force_n(standing / count))
    return (
        f"at least {_newtons(force)} a belt carries the motor's rated power, to "
        f"{_newtons(RUN_IN_ROOM * force)} "
        f"run in and {_newtons(NEW_ROOM * force)} new ({_LESS_SURE})"
    )


def _span(epoch: FanEpoch) -> float | None:
    machine = epoch.machine
    if epoch.centre_distance_m is None or machine.motor_sheave_m is None or machine.wheel_sheave_m is None:
        return None
    span = float(span_m(epoch.centre_distance_m, machine.motor_sheave_m, machine.wheel_sheave_m))
    return None if np.isnan(span) else span


def _grease(epoch: FanEpoch, wheel_rpm: float | None) -> str:
    if epoch.bearing_lubrication is BearingLubrication.SEALED:
        return "sealed: none; noise, heat and play only"
    if epoch.bearing_lubrication is None:
        return "greased or sealed: ______; never mix greases"
    hours = relubrication_interval(epoch, wheel_rpm)
    every = "" if hours is None else f"; every {hours:,.0f} running hours by bore, kind and speed"
    return f"grease on the tag: ______, amount: ______ g; never mix greases{every}"


def _length(metres: float) -> str:
    return f"{metres * _MM:.1f} mm ({metres / INCH_M:.2f} in)"


def _long(metres: float) -> str:
    return f"{metres * _MM:.0f} mm ({metres / INCH_M:.1f} in)"


def _newtons(force: float) -> str:
    return f"{force:.0f} N ({force / POUND_FORCE_N:.1f} lbf)"
