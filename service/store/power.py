"""What a fan's readings say its motor did: speed, torque and shaft power, by hour and by day."""

import datetime as dt
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.curves import HealthyCurves
from analytics.day_hours import in_range
from analytics.machine import Machine
from analytics.measured_torque import measured_torque
from analytics.model import SIZE
from analytics.new_normal import Normal, as_healthy_motor, normal_from_json
from analytics.scaled_hours import ScaledHours, scaled_hours
from config.folder import SiteFolder
from service.store.fitted import curves_from_json, machine_judged
from service.store.ledger_tables import curves, daily
from service.store.store import Store

_COLUMNS: Final = ("date", "speed_fraction", "torque", "motor_speed", "motor_kw", "airflow_m3s", "time")


@dataclass(frozen=True, slots=True)
class HealthyFit:
    """A fan's machine and its healthy curves as they hold on a date."""

    machine: Machine
    curves: HealthyCurves


def healthy_fit(site: SiteFolder, store: Store, fan: str, date: dt.date) -> HealthyFit | None:
    """Return what a fan's days are held against on a date, None where it has no healthy curves then."""
    epoch = site.epoch_at(fan, date)
    query = sa.select(curves).where(curves.c.fan == fan).order_by(curves.c.epoch)
    with store.reader() as connection:
        rows = connection.execute(query).all()
    # A later stretch begins with its own healthy period, whose days are judged by it too.
    held = [row for row in rows if row.first_date is not None and row.first_date <= date]
    if epoch is None or not held or held[-1].fitted is None:
        return None
    written: dict[str, Any] = held[-1].fitted
    found = curves_from_json(written)
    # Curves of another version of the results wait for the next `assess`.
    return HealthyFit(machine_judged(epoch.machine, written), found) if len(found.mean) == SIZE else None


def motor_hours(
    site: SiteFolder, store: Store, fan: str, first: dt.date, last: dt.date, fit: HealthyFit
) -> pd.DataFrame:
    """Return the hours in which a fan ran steadily inside its fitted range, from one plant date to another.

    Returns: frame with `date`, `speed_fraction` (output frequency over base), `torque` [of rated],
    `motor_speed` [of synchronous at base frequency], `motor_kw`, motor shaft power, NaN without a reading
    of load, `airflow_m3s`, NaN without one of airflow, and `time` by the site's clock.
    """
    start, end = (midnight(site, date) for date in (first, last + dt.timedelta(days=1)))
    with store.reader() as connection:
        normals = learned_normals(connection, [fan], first, last).get(fan, [])
    return steady_power(site, store.hours.read([fan], start, end), fit, normals)


Normals = Sequence[tuple[dt.date, Normal]]


def learned_normals(
    connection: sa.Connection, fans: Sequence[str], first: dt.date, last: dt.date
) -> dict[str, Normals]:
    """Return by fan and date which new normal it has, as learned by the end of the last date.

    A motor is another from the day it was replaced, though its gain is known only ten judged days later.
    """
    query = sa.select(daily.c.fan, daily.c.date, daily.c.new_normal).where(
        daily.c.fan.in_(fans), daily.c.date.between(first, last)
    )
    found: dict[str, list[tuple[dt.date, Normal]]] = {}
    for row in connection.execute(query.order_by(daily.c.fan, daily.c.date.desc())):
        normal, later = normal_from_json(row.new_normal), found.setdefault(row.fan, [])
        waits = any(change.days_left for change in normal.values())
        later.append((row.date, later[-1][1] if waits and later else normal))
    return {fan: changes[::-1] for fan, changes in found.items()}


def steady_power(site: SiteFolder, hours: pd.DataFrame, fit: HealthyFit, normals: Normals) -> pd.DataFrame:
    """Return of a fan's hours, as read from the store, those of `motor_hours`; `normals` as learned."""
    if hours.empty:
        return pd.DataFrame(columns=[*_COLUMNS])
    scaled = scaled_hours(hours, fit.machine, fit.curves.channels)
    local = hours["time"].dt.tz_convert(site.site.zone)
    turned = healthy_motor_hours(scaled, local.dt.date, normals)
    torque, motor_speed = measured_torque(turned.load, turned.speed, fit.curves)
    rated_kw = fit.machine.motor_rated_power_w * fit.machine.motor_count / 1000.0
    frame = pd.DataFrame(
        {
            "date": local.dt.date,
            "speed_fraction": scaled.speed,
            "torque": torque,
            "motor_speed": motor_speed,
            "motor_kw": torque * motor_speed / (1.0 - fit.curves.rated_slip) * rated_kw,
            "airflow_m3s": scaled.airflow_m3s,
            "time": local,
        }
    )
    return frame[in_range(scaled, fit.curves)].reset_index(drop=True)


def healthy_motor_hours(scaled: ScaledHours, dates: "pd.Series[Any]", normals: Normals) -> ScaledHours:
    """Return hours with load and speed as the motor of the healthy period would have shown them.

    Parameters: `dates` of the hours, by plant time; `normals` as learned.
    """
    if not any(normal for _, normal in normals):
        return scaled
    starts = [date for date, _ in normals]
    places = [bisect_right(starts, date) for date in dates]
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
    drawn = motor_hours(site, store, fan, first, last, fit).groupby("date")["motor_kw"].mean()
    found = []
    for date, excess_kw in excess.items():
        motor_kw = drawn.get(date, np.nan)
        is_read = not np.isnan(motor_kw)
        healthy_kw = float(motor_kw) - excess_kw if is_read else None
        found.append(
            {"date": date, "motor_kw": float(motor_kw) if is_read else None, "healthy_kw": healthy_kw}
        )
    return found


def midnight(site: SiteFolder, date: dt.date) -> dt.datetime:
    """Return when a plant day begins, in UTC."""
    return dt.datetime.combine(date, dt.time(), tzinfo=site.site.zone).astimezone(dt.UTC)
