"""The hours of a period as they are compared: air, command and the power one meter read."""

import datetime as dt
from collections.abc import Set
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from analytics.arrays import Bools, Floats, column
from analytics.compared_hours import AirHours, Meter
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.read_power import shaft_kw
from analytics.rounding import settled_machine
from analytics.scaled_hours import scaled_hours
from analytics.vocabulary import CurrentAt, PowerAt, Role
from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.retrofit.periods import Period
from service.store.power import midnight
from service.store.store import Store

_LINE_POWER_FACTOR: Final = 0.95
_USUAL_VOLTS: Final = 460.0


@dataclass(frozen=True, slots=True)
class PeriodReadings:
    """A period's usable hours: `air`; `load` and `speed` of the same hours; `time` by the site's clock.

    `is_pressure_read`, `is_airflow_read` where most running hours have it; `hours_run` of the hours seen.
    """

    air: AirHours
    load: Floats
    time: "pd.Series[pd.Timestamp]"
    is_airflow_read: bool
    is_pressure_read: bool
    is_power_read: bool
    days_seen: int
    hours_running: float


def hours_of(site: SiteFolder, store: Store, fan: str, period: Period) -> pd.DataFrame:
    """Return a fan's hours of a period, as the store has them."""
    start, end = midnight(site, period.first), midnight(site, period.last + dt.timedelta(days=1))
    return store.hours.read([fan], start, end).reset_index(drop=True)


def electrical_role(hours: pd.DataFrame, machine: Machine) -> Role | None:
    """Return what reads electrical input in the hours: kW not of the shaft, or amps of the line."""
    steady = hours[hours["is_steady"].astype(bool)]

    def has(name: str) -> bool:
        return bool(len(steady) and np.isfinite(column(steady, name)).mean() > 0.5)

    if has("power_w"):
        return None if machine.power_at is PowerAt.SHAFT else Role.POWER
    return Role.CURRENT if has("current_a") and machine.current_at is CurrentAt.LINE else None


def machine_after(fitted: Machine, epoch: FanEpoch) -> Machine:
    """Return the machine whose readings the hours after are, scaled by the amps the curves were."""
    own = settled_machine(epoch.machine)
    return replace(own, motor_rated_current_a=own.motor_rated_current_a or fitted.motor_rated_current_a)


def period_readings(
    site: SiteFolder,
    hours: pd.DataFrame,
    machine: Machine,
    curves: HealthyCurves,
    meter: Meter,
    left_out: Set[dt.date],
) -> PeriodReadings:
    """Return the usable hours of a period: steady, with air and power, on no day that is left out."""
    scaled = scaled_hours(hours, machine, curves.channels)
    power = (
        _electrical_kw(hours, machine, electrical_role(hours, machine))
        if meter.is_electrical
        else shaft_kw(scaled.load, scaled.speed, curves, meter)
    )
    local = hours["time"].dt.tz_convert(site.site.zone)
    is_in = ~np.isin(hours["day"].to_numpy(dtype=np.float64), [date.toordinal() for date in left_out])
    steady = hours["is_steady"].to_numpy(dtype=bool) & np.isfinite(scaled.speed) & (scaled.speed > 0.1)
    is_pressure_read = _mostly(scaled.pressure_pa, steady)
    usable = steady & is_in
    with np.errstate(invalid="ignore"):
        usable &= (scaled.airflow_m3s > 0.0) & (power > 0.0)
    if is_pressure_read:
        usable &= np.isfinite(scaled.pressure_pa)
    air = AirHours(
        hours["day"].to_numpy(dtype=np.float64),
        scaled.speed,
        scaled.airflow_m3s,
        scaled.pressure_pa,
        scaled.density,
        power,
    )
    return PeriodReadings(
        air.some(usable),
        scaled.load[usable],
        local[usable].reset_index(drop=True),
        _mostly(scaled.airflow_m3s, steady),
        is_pressure_read,
        _mostly(power, steady),
        len(np.unique(air.day)),
        float(hours["running"].sum()),
    )


def _mostly(values: Floats, where: Bools) -> bool:
    return bool(where.any() and np.isfinite(values[where]).mean() > 0.5)


def _electrical_kw(hours: pd.DataFrame, machine: Machine, role: Role | None) -> Floats:
    if role is Role.POWER:
        return np.asarray(column(hours, "power_w") / 1000.0)
    volts = machine.motor_volts or _USUAL_VOLTS
    return np.asarray(np.sqrt(3.0) * volts * column(hours, "current_a") * _LINE_POWER_FACTOR / 1000.0)
