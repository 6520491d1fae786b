"""Was the promised saving met? One answer, from which text, report and CSV are written."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.compared_hours import Basis, Compared, Meter
from analytics.curves import HealthyCurves, TooLittleHealthyDataError
from analytics.judging import healthy
from analytics.machine import Machine
from analytics.rounding import settled_machine
from analytics.savings import days_to_decide
from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.retrofit.asked import Asked
from service.retrofit.figures import Figures, Work, compared_of, figures_of
from service.retrofit.instruments import why_not_comparable
from service.retrofit.kinds import Change, change_between, run_in
from service.retrofit.outside import outside_changes, states_within
from service.retrofit.periods import Period, RetrofitRefusedError, refuse_outside, refuse_unfit, run_in_days
from service.retrofit.readings import (
    PeriodReadings,
    electrical_role,
    hours_of,
    machine_after,
    period_readings,
)
from service.store.ledger_tables import curves as curves_table
from service.store.ledger_tables import fan_days
from service.store.power import healthy_fit
from service.store.store import Store

YES: Final = "yes"
NO: Final = "no"
NOT_SHOWN: Final = "not_shown"
_LEAST_DAYS: Final = 5
_LEAST_HOURS: Final = 40
_LEAST_INSIDE: Final = 0.5
_MOST_INSIDE: Final = 0.9
_DAYS_A_YEAR: Final = 365.0


@dataclass(frozen=True, slots=True)
class YearSaved:
    """A year like the time after the change: hours run, kWh and money with the interval of the confidence."""

    hours: float
    kwh: float
    low_kwh: float
    high_kwh: float
    price_per_kwh: float

    @property
    def money(self) -> tuple[float, float, float]:
        """The money saved and its interval."""
        price = self.price_per_kwh
        return price * self.kwh, price * self.low_kwh, price * self.high_kwh


@dataclass(frozen=True, slots=True)
class Retrofit:
    """What a check came to.

    `power` says which power was compared; `met` yes, no or not_shown, with `reason` in words; `more_days`
    after the change that would decide, None where none would or nothing was promised; `cautions` what a
    reader must know; `outside_changes` what else moved in the periods; `left_out` days of running in.
    `figures` and `year` are None where nothing could be compared.
    """

    fan: str
    before: Period
    after: Period
    change: Change
    power: str
    is_electrical: bool
    confidence: float
    promised_pct: float | None
    met: str
    reason: str
    more_days: int | None
    cautions: tuple[str, ...]
    outside_changes: tuple[str, ...]
    left_out: tuple[dt.date, ...]
    figures: Figures | None
    year: YearSaved | None
    work: Work | None


def check_retrofit(site: SiteFolder, store: Store, asked: Asked) -> Retrofit:
    """Judge a change of a fan; raise RetrofitRefusedError where what is asked has no answer."""
    refuse_unfit(asked.before, asked.after)
    refuse_outside(site, store, asked.fan, asked.before, asked.after)
    epochs = [site.epoch_at(asked.fan, date) for date in (asked.before.last, asked.after.first)]
    first, second = epochs
    if first is None or second is None:
        raise RetrofitRefusedError("before", f"{asked.fan} has no row of fans.csv for {asked.before.last}")
    change = change_between(site, asked.fan, asked.before, asked.after, asked.basis)
    hours = {period: hours_of(site, store, asked.fan, period) for period in (asked.before, asked.after)}
    if any(frame.empty for frame in hours.values()):
        raise RetrofitRefusedError(
            "fan", f"{asked.fan} has no hours in one of the periods; run `slipledger assess` first"
        )
    blank = _blank(asked, change, hours[asked.before], first)
    learned = _learned(site, store, asked, hours[asked.before], first)
    if isinstance(learned, str):
        return replace(blank, reason=learned)
    machine, curves, cautions = learned
    meter = Meter(machine, blank.is_electrical)
    both = hours[asked.before], hours[asked.after]
    reason = why_not_comparable(change, (first, second), both, curves, meter)
    if reason is not None:
        return replace(blank, reason=reason)
    fitted = run_in(site, asked.fan)
    left_out = {day for period in hours for day in run_in_days(period, fitted)}
    read = {
        period: period_readings(
            site,
            frame,
            machine if period is asked.before else machine_after(machine, second),
            curves,
            meter,
            left_out,
        )
        for period, frame in hours.items()
    }
    work = Work(read[asked.before], read[asked.after], curves, meter, change.basis)
    told = replace(
        blank,
        left_out=tuple(sorted(left_out)),
        outside_changes=outside_changes(store, asked, change),
        cautions=(*cautions, *_gaps(asked, work)),
        work=work,
    )
    return _judged(site, store, asked, told, work)


def _judged(site: SiteFolder, store: Store, asked: Asked, told: Retrofit, work: Work) -> Retrofit:
    reason = _unseen(work)
    if reason is not None:
        return replace(told, reason=reason)
    compared = compared_of(work)
    if compared is None:
        return replace(told, reason="no hour of one period has airflow, pressure and power that agree")
    enough = [
        f"{name}: {len(one.day)} hours on {len(np.unique(one.day))} days"
        for name, one in (("before", compared.before), ("after", compared.after))
        if len(one.day) < _LEAST_HOURS or len(np.unique(one.day)) < _LEAST_DAYS
    ]
    if compared.share_inside < _LEAST_INSIDE:
        return replace(told, reason=_outside_range(compared))
    if enough:
        least = f"{_LEAST_HOURS} on {_LEAST_DAYS} days are the least"
        return replace(told, reason=f"too few hours to compare ({'; '.join(enough)}; {least})")
    healthy_read = _healthy_readings(site, store, asked, work)
    figures = figures_of(work, compared, healthy_read, asked.confidence)
    if compared.share_inside < _MOST_INSIDE:
        caution = f"{_outside_range(compared)}; those hours are left out"
        told = replace(told, cautions=(*told.cautions, caution))
    told = replace(told, cautions=(*told.cautions, *states_within(figures)))
    met, reason, more = _met(asked, figures)
    return replace(
        told,
        met=met,
        reason=reason,
        more_days=more,
        figures=figures,
        year=_year(site, store, asked, work, figures),
    )


def _blank(asked: Asked, change: Change, hours: pd.DataFrame, first: FanEpoch) -> Retrofit:
    electrical = electrical_role(hours, first.machine) is not None
    return Retrofit(
        asked.fan,
        asked.before,
        asked.after,
        change,
        "electrical input" if electrical else "motor shaft power, as the readings say it",
        electrical,
        asked.confidence,
        asked.promised_pct,
        NOT_SHOWN,
        "",
        None,
        (),
        (),
        (),
        None,
        None,
        None,
    )


def _learned(
    site: SiteFolder, store: Store, asked: Asked, hours: pd.DataFrame, first: FanEpoch
) -> tuple[Machine, HealthyCurves, list[str]] | str:
    fit = healthy_fit(site, store, asked.fan, asked.before.last)
    if fit is not None:
        return fit.machine, fit.curves, []
    machine = settled_machine(first.machine)
    if machine.motor_rated_current_a is None and np.isfinite(hours["current_a"]).any():
        machine = replace(machine, motor_rated_current_a=float(np.nanpercentile(hours["current_a"], 99)))
    try:
        curves = healthy(hours, hours["day"].to_numpy(dtype=float), machine)
    except TooLittleHealthyDataError as error:
        return f"no healthy curves, and the time before cannot stand in: {error}"
    return machine, curves, ["no healthy curves by then: the fan's curves were fitted to the time before"]


def _unseen(work: Work) -> str | None:
    for name, one in (("before", work.before), ("after", work.after)):
        if not one.is_power_read:
            return (
                f"nothing reads the fan's power {name} the change: name a power_point, else torque or current"
            )
        if not one.is_airflow_read:
            return (
                f"airflow was not read {name} the change, and equal airflow is the ground of the comparison"
            )
        if work.basis is Basis.DRIVE and not one.is_pressure_read:
            return (
                f"pressure was not read {name} the change, and a drive is compared at equal airflow and "
                "pressure: name a pressure_point, or compare at equal airflow alone (basis air)"
            )
    return None


def _outside_range(compared: Compared) -> str:
    (a, b), (c, d) = compared.airflow_before, compared.airflow_after
    return (
        f"{100.0 * (1.0 - compared.share_inside):.0f} % of the energy after is outside the range of the time "
        f"before (airflow {a:.2f} to {b:.2f} m3/s before, {c:.2f} to {d:.2f} after)"
    )


def _gaps(asked: Asked, work: Work) -> list[str]:
    found = []
    for name, period, one in (("before", asked.before, work.before), ("after", asked.after, work.after)):
        if one.days_seen < 0.9 * period.days:
            found.append(f"{one.days_seen} of the {period.days} days {name} have readings")
    return found


def _healthy_readings(site: SiteFolder, store: Store, asked: Asked, work: Work) -> PeriodReadings | None:
    query = sa.select(curves_table.c.first_date, curves_table.c.last_date).where(
        curves_table.c.fan == asked.fan, curves_table.c.first_date <= asked.before.last
    )
    with store.reader() as connection:
        row = connection.execute(query.order_by(curves_table.c.epoch.desc()).limit(1)).first()
    if row is None or row.last_date is None or row.last_date >= asked.after.first:
        return None
    period = Period(row.first_date, row.last_date)
    hours = hours_of(site, store, asked.fan, period)
    if hours.empty:
        return None
    return period_readings(site, hours, work.meter.machine, work.curves, work.meter, set())


def _met(asked: Asked, figures: Figures) -> tuple[str, str, int | None]:
    span = f"{figures.low_pct:.1f} to {figures.high_pct:.1f} % at {asked.confidence:g} %"
    if asked.promised_pct is None:
        return NOT_SHOWN, "no saving was promised to hold it against", None
    promised = asked.promised_pct
    if figures.low_pct >= promised:
        return YES, f"the whole interval ({span}) lies at or above the {promised:g} % promised", 0
    if figures.high_pct < promised:
        return NO, f"the whole interval ({span}) lies below the {promised:g} % promised", 0
    more = days_to_decide(figures.found, promised / 100.0, asked.confidence / 100.0)
    wait = (
        f"about {more} more days like these after the change would decide, at even odds"
        if more is not None
        else "no number of days like these after it would decide: what the time before leaves open stays"
    )
    return NOT_SHOWN, f"the interval ({span}) holds the {promised:g} % promised; {wait}", more


def _year(site: SiteFolder, store: Store, asked: Asked, work: Work, figures: Figures) -> YearSaved:
    query = sa.select(sa.func.avg(fan_days.c.hours_running)).where(
        fan_days.c.fan == asked.fan,
        sa.or_(
            fan_days.c.date.between(asked.before.first, asked.before.last),
            fan_days.c.date.between(asked.after.first, asked.after.last),
        ),
    )
    with store.reader() as connection:
        a_day = float(connection.execute(query).scalar() or 0.0)
    hours = a_day * _DAYS_A_YEAR
    prices = site.site.tariff.prices(site.site.energy_price_per_kwh)
    inside = figures.compared.is_inside
    time = work.after.time[inside]
    price = prices[
        time.dt.month.to_numpy() - 1, 24 * time.dt.day_of_week.to_numpy() + time.dt.hour.to_numpy()
    ]
    kwh = figures.adjusted_kw * hours
    return YearSaved(
        hours,
        kwh * figures.saving_pct / 100.0,
        kwh * figures.low_pct / 100.0,
        kwh * figures.high_pct / 100.0,
        float(np.average(price, weights=work.after.air.power_kw[inside])),
    )
