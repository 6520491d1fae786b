"""The check figure: what a tachometer at the wheel should read if the drive is tight, and as inferred."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from analytics.motor import poles_for, synchronous_rpm
from analytics.vocabulary import Cause, Drive, Work
from config.epoch import FanEpoch
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from config.units import INCH_M
from service.logbook import doubt_of_pair
from service.store.ledger_tables import daily
from service.store.power import HealthyFit, healthy_fit, motor_hours
from service.store.store import Store

_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class Ratio:
    """Wheel turns a motor turn of a drive that does not slip at all, and what that rests on, in words."""

    value: float
    rests_on: str


@dataclass(frozen=True, slots=True)
class CheckFigure:
    """What to read at the usual command of a judged day.

    `date` the day; `command_fraction` its usual output frequency over `base_hz`; speeds in rpm;
    `tight_rpm` with the healthy belt's creep; `inferred_rpm` at the inferred slip, `lowest_rpm` and
    `highest_rpm` its central 95 %; `ratio` without any slip; `reference_ratio` inferred at the reference
    torque, where slip shows most. `can_slip` whether belt slip is possible.
    """

    date: dt.date
    command_fraction: float
    base_hz: float
    motor_rpm: float
    tight_rpm: float
    inferred_rpm: float
    lowest_rpm: float
    highest_rpm: float
    ratio: Ratio
    reference_ratio: float
    can_slip: bool

    @property
    def tight_ratio(self) -> float:
        """Wheel turns a motor turn of the tight drive at that load."""
        return self.tight_rpm / self.motor_rpm

    @property
    def inferred_ratio(self) -> float:
        """Wheel turns a motor turn at the inferred slip."""
        return self.inferred_rpm / self.motor_rpm


@dataclass(frozen=True, slots=True)
class NoCheckFigure:
    """Why there is none: `missing` says what would have to be known."""

    missing: str


def check_figure(site: SiteFolder, store: Store, fan: str, as_of: dt.date) -> CheckFigure | NoCheckFigure:
    """Return a fan's check figure by what was known at the end of a plant day."""
    row = _usual_day(site, store, fan, as_of)
    fit = None if row is None else healthy_fit(site, store, fan, row["date"])
    if row is None or fit is None:
        return NoCheckFigure("a judged day, which gives the usual command and the slip")
    machine = fit.machine
    if machine.motor_rpm is None:
        return NoCheckFigure("the motor's nameplate speed (motor_rpm in fans.csv)")
    ratio = _ratio(site, store, fan, as_of, fit)
    if ratio is None:
        return NoCheckFigure(
            "the speed ratio: both sheaves' pitch diameters in fans.csv, or a tachometer pair in the log"
        )
    hours = motor_hours(site, store, fan, row["date"], row["date"], fit)
    if not hours.count:
        return NoCheckFigure("steady hours of the last judged day")
    base_rpm = float(synchronous_rpm(machine.motor_hz, poles_for(machine.motor_rpm, machine.motor_hz)))
    motor_rpm = base_rpm * float(np.nanmedian(hours.motor_speed))
    wheel_rpm = motor_rpm * ratio.value
    healthy_slip = max(row["slip_pct"] - row["slip_change_pct"], 0.0)
    return CheckFigure(
        row["date"],
        float(np.nanmedian(hours.speed_fraction)),
        machine.motor_hz,
        motor_rpm,
        _turned(wheel_rpm, healthy_slip),
        _turned(wheel_rpm, row["slip_pct"]),
        _turned(wheel_rpm, row["slip_high_pct"]),
        _turned(wheel_rpm, row["slip_low_pct"]),
        ratio,
        _turned(ratio.value, row["slip_ref_pct"]),
        machine.drive.can_slip,
    )


def _turned(without_slip: float, slip_pct: float) -> float:
    return without_slip * (1.0 - slip_pct / 100.0)


def _judged_row(
    store: Store, fan: str, first: dt.date, last: dt.date, *, is_fullest: bool = False
) -> Mapping[str, Any] | None:
    """Return the latest row of a wheel that was judged between two dates, or the one with most hours."""
    names = ("date", "slip_pct", "slip_low_pct", "slip_high_pct", "slip_change_pct", "slip_ref_pct")
    query = sa.select(*(daily.c[name] for name in names)).where(
        daily.c.fan == fan,
        daily.c.date.between(first, last),
        daily.c.slip_pct.is_not(None),
        daily.c.cause != Cause.DRIVE_LOST.value,
    )
    if is_fullest:
        query = query.order_by(daily.c.hours_used.desc())
    with store.reader() as connection:
        row = connection.execute(query.order_by(daily.c.date.desc()).limit(1)).one_or_none()
    return None if row is None else dict(row._mapping)


def _usual_day(site: SiteFolder, store: Store, fan: str, as_of: dt.date) -> Mapping[str, Any] | None:
    """Return the fullest judged day of the last seven, none of them before the latest work on the fan."""
    works = [e for e in site.entries(fan) if e.date <= as_of and e.work is not Work.INSPECTED]
    served = max((entry.date for entry in works), default=dt.date.min)
    last = _judged_row(store, fan, served, as_of) or _judged_row(store, fan, dt.date.min, as_of)
    if last is None:
        return None
    first = max(last["date"] - dt.timedelta(days=_DAYS - 1), min(served, last["date"]))
    return _judged_row(store, fan, first, last["date"], is_fullest=True)


def _ratio(site: SiteFolder, store: Store, fan: str, as_of: dt.date, fit: HealthyFit) -> Ratio | None:
    """Return the best known speed ratio.

    A tachometer pair on a tight belt says it best; then the sheaves' pitch diameters; then any other pair,
    as far as that day's slip is known; then the design's wheel speed at the motor's nameplate speed.
    """
    machine = fit.machine
    if machine.drive is Drive.DIRECT:
        return Ratio(1.0, "a direct drive")
    epoch = site.epoch_at(fan, as_of)
    tight, other = _pairs(site, store, fan, as_of)
    if tight is not None:
        return tight
    if machine.motor_sheave_m is not None and machine.wheel_sheave_m is not None:
        words = _sheave_words(machine.motor_sheave_m, machine.wheel_sheave_m, epoch)
        return Ratio(machine.motor_sheave_m / machine.wheel_sheave_m, words)
    if other is not None:
        return other
    if machine.design_wheel_rpm is not None and machine.motor_rpm is not None:
        words = "the wheel's design speed at the motor's nameplate speed: rough, a re-sheave would not show"
        return Ratio(machine.design_wheel_rpm / machine.motor_rpm, words)
    return None


def _sheave_words(motor_m: float, wheel_m: float, epoch: FanEpoch | None) -> str:
    is_metric = epoch is not None and "motor_sheave_mm" in epoch.given
    unit, size = ("mm", 0.001) if is_metric else ("in", INCH_M)
    digits = 0 if is_metric else 2
    sizes = f"{motor_m / size:.{digits}f} and {wheel_m / size:.{digits}f} {unit}"
    words = f"sheave pitch diameters of {sizes}, good to about 0.7 %"
    if epoch is not None and epoch.is_sheave_adjustable:
        return f"{words}; the sheave is adjustable: if its halves were moved, so was this"
    return words


def _pairs(site: SiteFolder, store: Store, fan: str, as_of: dt.date) -> tuple[Ratio | None, Ratio | None]:
    """Return the ratio by the latest pair on a tight belt and by the latest other pair."""
    entries = [entry for entry in site.entries(fan) if entry.date <= as_of]
    resheaved = max((e.date for e in entries if e.work is Work.SHEAVE_CHANGED), default=dt.date.min)
    tight: Ratio | None = None
    other: Ratio | None = None
    for entry in sorted(entries, key=lambda one: one.date):
        if entry.date < resheaved or doubt_of_pair(site, entry) is not None:
            continue
        found, is_tight = _pair(site, store, entry)
        tight, other = (found or tight, other) if is_tight else (tight, found or other)
    return tight, other


def _pair(site: SiteFolder, store: Store, entry: ServiceEntry) -> tuple[Ratio | None, bool]:
    if entry.motor_rpm is None or entry.fan_rpm is None:
        return None, False
    row = _judged_row(store, entry.fan, entry.date - dt.timedelta(days=_DAYS), entry.date)
    epoch = site.epoch_at(entry.fan, entry.date)
    if row is None or epoch is None:
        return None, False
    value = entry.fan_rpm / entry.motor_rpm / (1.0 - row["slip_pct"] / 100.0)
    date = f"{entry.date.day} {entry.date:%b %Y}"
    words = f"the tachometer pair of {date} ({entry.motor_rpm:,.0f} and {entry.fan_rpm:,.0f} rpm)"
    is_tight = row["slip_ref_pct"] < epoch.limits.slip_watch_pct
    doubt = "" if is_tight else ", read while the belt slipped: good to that day's slip"
    return Ratio(value, words + doubt), is_tight
