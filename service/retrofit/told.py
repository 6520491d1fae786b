"""A retrofit check in sentences and as a table of hours."""

import datetime as dt
from typing import Any, Final

import numpy as np
import pandas as pd

from analytics.arrays import Floats
from analytics.compared_hours import Basis
from analytics.savings import Fitted, PeriodHours
from service.retrofit.checked import NO, YES, Retrofit
from service.retrofit.figures import Figures, Part
from service.retrofit.readings import PeriodReadings

EQUAL: Final = {
    Basis.DRIVE: "equal airflow and pressure",
    Basis.AIR: "equal airflow, each arrangement at the pressure it needed",
}
VERDICT: Final = {YES: "met", NO: "not met"}
COLUMNS: Final = (
    "period",
    "time",
    "speed_fraction",
    "airflow_m3s",
    "pressure_pa",
    "density_ratio",
    "power_kw",
    "adjusted_kw",
    "is_used",
)


def verdict_words(told: Retrofit) -> str:
    """Say in a few words whether the promise was met."""
    if told.promised_pct is None and told.figures is not None:
        return "no promise to hold it against"
    return VERDICT.get(told.met, "not shown")


def sentences(told: Retrofit, currency: str) -> list[str]:
    """Return the check as lines of text."""
    lines = [
        f"{told.fan}: {told.before} against {told.after}",
        f"Changed: {'; '.join(told.change.what)}",
        f"Basis {told.change.basis} ({EQUAL[told.change.basis]}), {told.change.basis_reason}",
        f"Power: {told.power}",
        "",
    ]
    if told.figures is not None:
        lines += _figures(told, told.figures, currency)
    promised = "" if told.promised_pct is None else f" Promised {told.promised_pct:g} %:"
    lines += [f"Verdict:{promised} {verdict_words(told)}; {told.reason}."]
    lines += [f"Caution: {one}." for one in told.cautions]
    lines += [f"Also changed: {one}." for one in told.outside_changes]
    if told.left_out:
        ends = dict.fromkeys(str(told.left_out[place]) for place in (0, -1))
        lines.append(f"Left out while a belt ran in: {' to '.join(ends)}.")
    return [*lines, "Nothing is claimed beyond the days compared."]


def _figures(told: Retrofit, found: Figures, currency: str) -> list[str]:
    lines = [
        f"Saving {found.saving_kw:.2f} kW of {found.adjusted_kw:.2f} kW, {found.saving_pct:.2f} % "
        f"({told.confidence:g} %: {found.low_pct:.2f} to {found.high_pct:.2f} %)",
    ]
    if told.year is not None:
        year, (money, low, high) = told.year, told.year.money
        shaft = "" if told.is_electrical else ", at the motor shaft"
        lines.append(
            f"A year of {year.hours:,.0f} hours like these{shaft}: {year.kwh:,.0f} kWh "
            f"({year.low_kwh:,.0f} to {year.high_kwh:,.0f}), "
            f"{money:,.0f} {currency} ({low:,.0f} to {high:,.0f})"
        )
    lines += [
        f"  {one.confidence:g} %: {one.low_pct:.2f} to {one.high_pct:.2f} %, {100 * one.fractional:.0f} % of "
        f"it; Guideline 14 form {100 * one.guideline_fractional:.0f} %; days drawn again "
        f"{one.drawn_low_pct:.2f} to {one.drawn_high_pct:.2f} %"
        for one in found.spreads
    ]
    for name, part in (("putting the old drive in order", found.restored), ("the new one", found.renewed)):
        if part is not None:
            lines.append(f"Of it from {name}: {_part(part)}")
    meter = f"The meter alone: {found.mean_before_kw:.2f} kW before, {found.mean_after_kw:.2f} kW after"
    same = found.same_command_pct
    lines.append(meter if same is None else f"{meter}; at the same command {same:+.1f} %")
    inside = 100.0 * found.compared.share_inside
    lines.append(
        f"Inside the range before: {inside:.0f} % of the energy after; {found.hours_before} hours on "
        f"{found.guideline.days_before} days against {found.hours_after} on {found.guideline.days_after}"
    )
    return [*lines, ""]


def _part(part: Part) -> str:
    # No minus before a zero.
    return f"{part.kw:z.2f} kW ({part.low_kw:z.2f} to {part.high_kw:z.2f})"


def hours_table(told: Retrofit) -> pd.DataFrame:
    """Return the hours compared, with what the arrangement before would have drawn in each.

    The saving is 1 - exp(sum power ln(power / adjusted) / sum power) over the used hours after.
    """
    if told.work is None:
        return pd.DataFrame(columns=list(COLUMNS))
    found = told.figures
    parts = []
    for name, read in (("before", told.work.before), ("after", told.work.after)):
        parts.append(_rows(name, read))
    if found is not None:
        compared, first = found.compared, found.found.before
        for part, hours, used in (
            (parts[0], compared.before, compared.is_used_before),
            (parts[1], compared.after, compared.is_inside),
        ):
            part["is_used"] = used
            adjusted = np.full(len(part), np.nan)
            adjusted[used] = adjusted_kw(hours, first)
            part["adjusted_kw"] = adjusted
    return pd.concat(parts, ignore_index=True)[list(COLUMNS)]


def adjusted_kw(hours: PeriodHours, before: Fitted) -> Floats:
    """Return what the arrangement before would have drawn in each hour [kW]."""
    return np.asarray(hours.power_kw * np.exp(before.level + hours.terms @ before.slopes - hours.log_power))


def _rows(name: str, read: PeriodReadings) -> pd.DataFrame:
    air = read.air
    return pd.DataFrame(
        {
            "period": name,
            "time": [moment.isoformat() for moment in read.time],
            "speed_fraction": air.speed,
            "airflow_m3s": air.airflow_m3s,
            "pressure_pa": air.pressure_pa,
            "density_ratio": air.density,
            "power_kw": air.power_kw,
            "adjusted_kw": np.nan,
            "is_used": False,
        }
    )


def equal_words(told: Retrofit) -> str:
    """Say what is equal before and after."""
    return EQUAL[told.change.basis]


def daily_power(told: Retrofit) -> list[dict[str, Any]]:
    """Return each day's mean power, read and adjusted: rows with date, period, measured_kw, adjusted_kw."""
    table = hours_table(told)
    used = table[table["is_used"].astype(bool)]
    if used.empty:
        return []
    dates = [dt.datetime.fromisoformat(moment).date() for moment in used["time"]]
    means = (
        used.assign(date=dates).groupby(["period", "date"])[["power_kw", "adjusted_kw"]].mean().reset_index()
    )
    return [
        {"date": row.date, "period": row.period, "measured_kw": row.power_kw, "adjusted_kw": row.adjusted_kw}
        for row in means.sort_values("date").itertuples(index=False)
    ]
