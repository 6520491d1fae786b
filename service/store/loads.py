"""Each fan's usual year by load, kept beside its ledger: made anew week by week, from its hours."""

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.arrays import Bools, Floats
from analytics.load_profile import HOURS_A_YEAR, is_at_limit, load_profile, season_error
from analytics.vocabulary import SpeedControl
from config.folder import SiteFolder
from service.store.cost_tables import REVISION, fan_loads
from service.store.ledger_tables import curves, daily, fan_days
from service.store.power import (
    POWER_COLUMNS,
    HealthyFit,
    Integers,
    MotorHours,
    fed_frequency,
    healthy_fits,
    learned_normals,
    midnight,
    motor_hours_of,
    shaft_excess_kw,
)
from service.store.store import Store

_BATCH: Final = 24
_YEAR: Final = 365
_WEEK: Final = 7
_LEAST_HOURS: Final = 24
_LEAST_WEEK_HOURS: Final = 6

Excess = Mapping[int, tuple[float, float]]
"""Of each judged day, by its ordinal: change of slip [-] and excess power, as the ledger tells it [kW]."""


def renew_loads(site: SiteFolder, store: Store, as_of: dt.datetime) -> None:
    """Make anew the load profiles that rest on something else than before.

    A profile covers the year up to the last Sunday that is over, so that it moves once a week, and with the
    healthy curves, the fan's row and the prices of a kWh.
    """
    today = as_of.astimezone(site.site.zone).date()
    last = today - dt.timedelta(days=today.isoweekday() % _WEEK or _WEEK)
    with store.reader() as connection:
        made = {
            row.fan: row.digest for row in connection.execute(sa.select(fan_loads.c.fan, fan_loads.c.digest))
        }
        days = _days(connection, last)
        digests = _digests(connection, site, last, days)
    due = [fan for fan in site.fan_names if digests.get(fan) != made.get(fan)]
    for start in range(0, len(due), _BATCH):
        batch = due[start : start + _BATCH]
        rows = [
            {"fan": fan, "digest": digests[fan], "profile": profile}
            for fan, profile in _profiles(site, store, batch, days, last).items()
        ]
        with store.writer() as connection:
            connection.execute(sa.delete(fan_loads).where(fan_loads.c.fan.in_(batch)))
            connection.execute(sa.insert(fan_loads), rows)
    gone = set(made) - set(site.fan_names)
    if gone:
        with store.writer() as connection:
            connection.execute(sa.delete(fan_loads).where(fan_loads.c.fan.in_(gone)))


def _digests(
    connection: sa.Connection, site: SiteFolder, last: dt.date, days: Mapping[str, tuple[int, float]]
) -> dict[str, str]:
    """Return of each fan a digest of all that its profile is made of."""
    fitted: dict[str, list[str]] = {}
    by_epoch = sa.select(curves.c.fan, curves.c.digest).order_by(curves.c.fan, curves.c.epoch)
    for row in connection.execute(by_epoch):
        fitted.setdefault(row.fan, []).append(row.digest)
    judged = _judged(connection, last)
    tariff = (site.site.tariff.model_dump_json(), site.site.energy_price_per_kwh)
    found = {}
    for fan in site.fan_names:
        epoch = site.epoch_at(fan, last)
        declared = None if epoch is None else (epoch.machine, epoch.valid_from)
        facts = (REVISION, last, fitted.get(fan), tariff, declared, days.get(fan), judged.get(fan))
        found[fan] = hashlib.sha256(repr(facts).encode()).hexdigest()
    return found


def _judged(connection: sa.Connection, last: dt.date) -> dict[str, tuple[int, float, float]]:
    """Return of each fan how many days were judged, and the sums of what its profile takes."""
    sums = (sa.func.sum(daily.c.slip_change_pct), sa.func.sum(daily.c.excess_kw))
    query = (
        sa.select(daily.c.fan, sa.func.count(), *sums)
        .where(daily.c.date.between(_first(last), last), daily.c.excess_kw.is_not(None))
        .group_by(daily.c.fan)
    )
    # Rounded: a database may add in another order.
    return {
        fan: (int(count), round(float(slip), 6), round(float(excess), 6))
        for fan, count, slip, excess in connection.execute(query)
    }


def _first(last: dt.date) -> dt.date:
    return last - dt.timedelta(days=_YEAR - 1)


def _days(connection: sa.Connection, last: dt.date) -> dict[str, tuple[int, float]]:
    """Return of each fan how many days of the year have readings, and the hours run a day."""
    query = (
        sa.select(fan_days.c.fan, sa.func.count(), sa.func.avg(fan_days.c.hours_running))
        .where(fan_days.c.date.between(_first(last), last))
        .group_by(fan_days.c.fan)
    )
    return {fan: (int(count), round(float(hours), 6)) for fan, count, hours in connection.execute(query)}


def _profiles(
    site: SiteFolder, store: Store, fans: Sequence[str], days: Mapping[str, tuple[int, float]], last: dt.date
) -> dict[str, dict[str, Any] | None]:
    first = _first(last)
    fits = healthy_fits(site, store, fans, last)
    wanted = [fan for fan in fits if fan in days]
    found: dict[str, dict[str, Any] | None] = dict.fromkeys(fans)
    if not wanted:
        return found
    start, end = midnight(site, first), midnight(site, last + dt.timedelta(days=1))
    frame = store.hours.read(wanted, start, end, POWER_COLUMNS)
    with store.reader() as connection:
        excess = _excess(connection, wanted, first, last)
        normals = learned_normals(connection, wanted, first, last)
    for name, rows in frame.groupby("fan", sort=True):
        fan = str(name)
        hours = _of_epoch(site, fan, rows, last)
        motor = motor_hours_of(hours, fits[fan], normals.get(fan, []))
        motor = motor.kept(motor.motor_kw > 0.0)
        if motor.count >= _LEAST_HOURS:
            price = _prices(site, hours["time"].iloc[motor.place])
            found[fan] = _profile(fits[fan], motor, price, excess.get(fan, {}), days[fan])
    return found


def _of_epoch(site: SiteFolder, fan: str, hours: pd.DataFrame, last: dt.date) -> pd.DataFrame:
    """Return the hours since the fan's row began to hold: before it the machine was another."""
    epoch = site.epoch_at(fan, last)
    if epoch is None or epoch.valid_from is None:
        return hours
    return hours[hours["time"] >= midnight(site, epoch.valid_from)]


def _excess(
    connection: sa.Connection, fans: Sequence[str], first: dt.date, last: dt.date
) -> Mapping[str, Excess]:
    query = sa.select(daily.c.fan, daily.c.date, daily.c.slip_change_pct, daily.c.excess_kw).where(
        daily.c.fan.in_(fans), daily.c.date.between(first, last), daily.c.excess_kw.is_not(None)
    )
    found: dict[str, dict[int, tuple[float, float]]] = {}
    for fan, date, slip_change_pct, excess_kw in connection.execute(query):
        found.setdefault(fan, {})[date.toordinal()] = (slip_change_pct / 100.0, excess_kw)
    return found


def _prices(site: SiteFolder, times: "pd.Series[pd.Timestamp]") -> Floats:
    """Return the price of a kWh in each of some hours."""
    local = times.dt.tz_convert(site.site.zone).dt.tz_localize(None).to_numpy()
    month = local.astype("datetime64[M]").astype(np.int64) % 12
    # 1970 began on a Thursday.
    hour_of_week = (local.astype("datetime64[h]").astype(np.int64) + 72) % 168
    prices = site.site.tariff.prices(site.site.energy_price_per_kwh)
    return np.asarray(prices[month, hour_of_week])


def _profile(
    fit: HealthyFit, motor: MotorHours, price: Floats, excess: Excess, days: tuple[int, float]
) -> dict[str, Any]:
    machine = fit.machine
    limited = is_at_limit(motor.speed_fraction, machine.max_speed_fraction, machine.speed_control)
    healthy = _healthy_kw(fit, motor, excess, limited)
    seen, hours_a_day = days
    weekly, hours = _means(healthy, motor.day // _WEEK)
    reference = fit.curves.reference_torque
    profile = load_profile(
        healthy,
        motor.torque / reference,
        price,
        motor.airflow_m3s,
        speed_fraction=fed_frequency(machine, motor.speed_fraction),
        is_limited=limited,
        hours_a_year=hours_a_day / 24.0 * HOURS_A_YEAR,
        season_error=season_error(weekly[hours >= _LEAST_WEEK_HOURS], min(seen / _YEAR, 1.0)),
        rated_power_w=machine.motor_rated_power_w * machine.motor_count,
        reference_torque=reference,
        drive=machine.drive,
        has_vfd=machine.speed_control is SpeedControl.VFD,
        motor_efficiency=machine.motor_efficiency,
    )
    return {"revision": REVISION, **profile.as_json()}


def _means(values: Floats, period: Integers) -> tuple[Floats, Integers]:
    """Return the mean of the values of each period, in order, and of how many hours it is."""
    _, place = np.unique(period, return_inverse=True)
    hours = np.bincount(place)
    return np.bincount(place, weights=values) / hours, hours


def _healthy_kw(fit: HealthyFit, motor: MotorHours, excess: Excess, limited: Bools) -> Floats:
    """Return the power the healthy drive would have drawn in the same hours, under its own control.

    The ledger's excess, at the same air, is slip's part and drag's; at the limit slip had lowered the power.
    """
    power = motor.motor_kw
    days, place = np.unique(motor.day, return_inverse=True)
    mean, _ = _means(power, motor.day)
    speed, _ = _means(motor.speed_fraction, motor.day)
    told = np.array([excess.get(int(day), (0.0, 0.0)) for day in days])
    slip = np.clip(told[:, 0], 0.0, 0.5)
    dragged = np.clip(shaft_excess_kw(told[:, 1], mean, speed, fit) / mean - slip, 0.0, 0.5)
    slip, dragged = slip[place], dragged[place]
    return np.asarray(
        np.where(limited, power * (1.0 - dragged) / np.square(1.0 - slip), power * (1.0 - slip - dragged))
    )
