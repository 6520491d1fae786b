"""What a fan's readings say its motor did: speed, torque and shaft power, by hour and by day."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import sqlalchemy as sa

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.day_hours import in_range
from analytics.machine import Machine
from analytics.measured_torque import measured_torque, shaft_power
from analytics.model import SIZE
from analytics.motor import line_power_by_shaft_power
from analytics.new_normal import Normal, as_healthy_motor, normal_from_json
from analytics.scaled_hours import ScaledHours, scaled_hours
from analytics.vocabulary import SpeedControl
from config.folder import SiteFolder
from service.store.fitted import curves_from_json, machine_judged
from service.store.ledger_tables import curves, daily
from service.store.store import Store

Integers = npt.NDArray[np.int64]

POWER_COLUMNS: Final = (
    "day",
    "is_steady",
    "speed_fraction",
    "motor_speed_rpm",
    "wheel_speed_rpm",
    "torque_fraction",
    "power_w",
    "current_a",
    "airflow_m3s",
    "pressure_pa",
    "air_temperature_c",
    "outdoor_temperature_c",
    "barometric_pressure_pa",
)
"""What of a fan's hours its motor is known by."""


@dataclass(frozen=True, slots=True)
class HealthyFit:
    """A fan's machine and its healthy curves as they hold on a date."""

    machine: Machine
    curves: HealthyCurves


@dataclass(frozen=True, slots=True)
class MotorHours:
    """The hours in which a fan ran steadily inside its fitted range; every field of shape (hours,).

    `place` among the hours asked of, `day` the ordinal of the plant date, `speed_fraction` (output frequency
    over base), `torque` [of rated], `motor_speed` [of synchronous at base frequency], `motor_kw`, motor shaft
    power, NaN without a reading of load, `airflow_m3s`, NaN without one of airflow.
    """

    place: Integers
    day: Integers
    speed_fraction: Floats
    torque: Floats
    motor_speed: Floats
    motor_kw: Floats
    airflow_m3s: Floats

    @property
    def count(self) -> int:
        """How many hours they are."""
        return len(self.place)

    def kept(self, mask: Bools) -> "MotorHours":
        """Return some of them."""
        return MotorHours(*(getattr(self, field.name)[mask] for field in fields(self)))


def healthy_fit(site: SiteFolder, store: Store, fan: str, date: dt.date) -> HealthyFit | None:
    """Return what a fan's days are held against on a date, None where it has no healthy curves then."""
    return healthy_fits(site, store, [fan], date).get(fan)


def healthy_fits(site: SiteFolder, store: Store, fans: Sequence[str], date: dt.date) -> dict[str, HealthyFit]:
    """Return what the days of fans are held against on a date, of those that have healthy curves then."""
    query = sa.select(curves).where(curves.c.fan.in_(fans), curves.c.first_date <= date)
    with store.reader() as connection:
        # A later stretch begins with its own healthy period, whose days are judged by it too.
        held = {row.fan: row.fitted for row in connection.execute(query.order_by(curves.c.epoch))}
    found: dict[str, HealthyFit] = {}
    for fan, written in held.items():
        epoch = site.epoch_at(fan, date)
        if epoch is None or written is None:
            continue
        fitted = curves_from_json(written)
        # Curves of another version of the results wait for the next `assess`.
        if len(fitted.mean) == SIZE:
            found[fan] = HealthyFit(machine_judged(epoch.machine, written), fitted)
    return found


def motor_hours(
    site: SiteFolder, store: Store, fan: str, first: dt.date, last: dt.date, fit: HealthyFit
) -> MotorHours:
    """Return the hours of a fan, steady and inside its fitted range, from one plant date to another."""
    start, end = (midnight(site, date) for date in (first, last + dt.timedelta(days=1)))
    with store.reader() as connection:
        normals = learned_normals(connection, [fan], first, last).get(fan, [])
    return motor_hours_of(store.hours.read([fan], start, end, POWER_COLUMNS), fit, normals)


Normals = Sequence[tuple[dt.date, Normal]]


def learned_normals(
    connection: sa.Connection, fans: Sequence[str], first: dt.date, last: dt.date
) -> dict[str, Normals]:
    """Return by fan and date which new normal it has, as learned by the end of the last date.

    A motor is another from the day it was replaced, though its gain is known only ten judged days later.
    Fans of which nothing changed for good are left out.
    """
    of_fans = daily.c.fan.in_(fans) & daily.c.date.between(first, last)
    changed = sa.select(daily.c.fan).distinct().where(of_fans, daily.c.new_normal.is_not(None))
    query = sa.select(daily.c.fan, daily.c.date, daily.c.new_normal).where(
        daily.c.fan.in_(connection.execute(changed).scalars().all()), daily.c.date.between(first, last)
    )
    found: dict[str, list[tuple[dt.date, Normal]]] = {}
    for row in connection.execute(query.order_by(daily.c.fan, daily.c.date.desc())):
        normal, later = normal_from_json(row.new_normal), found.setdefault(row.fan, [])
        waits = any(change.days_left for change in normal.values())
        later.append((row.date, later[-1][1] if waits and later else normal))
    return {fan: changes[::-1] for fan, changes in found.items()}


def motor_hours_of(hours: pd.DataFrame, fit: HealthyFit, normals: Normals) -> MotorHours:
    """Return of a fan's hours, as read from the store, those of `motor_hours`; `normals` as learned."""
    if hours.empty:
        nothing = np.empty(0)
        return MotorHours(nothing.astype(np.int64), nothing.astype(np.int64), *[nothing] * 5)
    scaled = scaled_hours(hours, fit.machine, fit.curves.channels)
    day = hours["day"].to_numpy(dtype=np.int64)
    turned = healthy_motor_hours(scaled, day, normals)
    place = np.flatnonzero(in_range(scaled, fit.curves))
    torque, motor_speed = measured_torque(turned.load[place], turned.speed[place], fit.curves)
    rated_kw = fit.machine.motor_rated_power_w * fit.machine.motor_count / 1000.0
    motor_kw = shaft_power(torque, motor_speed, fit.curves) * rated_kw
    speed, airflow = scaled.speed[place], scaled.airflow_m3s[place]
    return MotorHours(place, day[place], speed, torque, motor_speed, motor_kw, airflow)


def healthy_motor_hours(scaled: ScaledHours, day: Integers, normals: Normals) -> ScaledHours:
    """Return hours with load and speed as the motor of the healthy period would have shown them.

    Parameters: `day` of the hours, the ordinals of their plant dates; `normals` as learned.
    """
    if not any(normal for _, normal in normals):
        return scaled
    starts = [date.toordinal() for date, _ in normals]
    places = np.searchsorted(starts, day, side="right")
    by_hour = [normals[place - 1][1] if place else {} for place in places]
    load, speed = as_healthy_motor(scaled.load, scaled.speed, by_hour)
    return replace(scaled, load=load, speed=speed)


def daily_power(
    site: SiteFolder, store: Store, fan: str, first: dt.date, last: dt.date
) -> list[dict[str, Any]]:
    """Return each judged day's motor shaft power, measured and as the healthy drive would have needed it.

    Returns: rows in order of date with `date`, `motor_kw`, `healthy_kw`: the measured power less the
    ledger's excess at the same airflow and pressure. None where a day or its load was not read.
    """
    fit = healthy_fit(site, store, fan, last)
    if fit is None:
        return []
    with store.reader() as connection:
        query = sa.select(daily.c.date, daily.c.excess_kw).where(
            daily.c.fan == fan, daily.c.date.between(first, last), daily.c.excess_kw.is_not(None)
        )
        rows = connection.execute(query.order_by(daily.c.date)).all()
        excess: dict[dt.date, float] = {row.date: row.excess_kw for row in rows}
    hours = motor_hours(site, store, fan, first, last, fit)
    by_day = pd.DataFrame({"motor_kw": hours.motor_kw, "speed": hours.speed_fraction}).groupby(hours.day)
    told = by_day.mean().reindex([date.toordinal() for date in excess])
    motor_kw, speed = told["motor_kw"].to_numpy(), told["speed"].to_numpy()
    healthy_kw = motor_kw - shaft_excess_kw(np.array([*excess.values()]), motor_kw, speed, fit)
    return [
        {
            "date": date,
            "motor_kw": None if np.isnan(drawn) else float(drawn),
            "healthy_kw": None if np.isnan(drawn) else float(healthy),
        }
        for date, drawn, healthy in zip(excess, motor_kw, healthy_kw, strict=True)
    ]


def shaft_excess_kw(excess_kw: Floats, motor_kw: Floats, speed_fraction: Floats, fit: HealthyFit) -> Floats:
    """Return the ledger's excess power as the motor shaft has it, where the ledger tells the line's.

    Parameters: `excess_kw`, `motor_kw` (motor shaft power) and `speed_fraction` of days or hours.
    """
    if not fit.curves.channels.has_line_power:
        return excess_kw
    rated_w = fit.machine.motor_rated_power_w * fit.machine.motor_count
    has_vfd = fit.machine.speed_control is SpeedControl.VFD
    frequency = fed_frequency(fit.machine, speed_fraction)
    return excess_kw / line_power_by_shaft_power(
        1000.0 * motor_kw, rated_w, has_vfd, speed_fraction=frequency
    )


def fed_frequency(machine: Machine, speed_fraction: Floats) -> Floats:
    """Return the frequency over base that a motor is fed at: the line's where it has no drive."""
    has_vfd = machine.speed_control is SpeedControl.VFD
    return speed_fraction if has_vfd else np.ones_like(speed_fraction)


def midnight(site: SiteFolder, date: dt.date) -> dt.datetime:
    """Return when a plant day begins, in UTC."""
    return dt.datetime.combine(date, dt.time(), tzinfo=site.site.zone).astimezone(dt.UTC)
