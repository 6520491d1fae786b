"""A retrofit check for programs: as JSON with every confidence, and as one row at the confidence asked."""

import math
from typing import Any

from service.retrofit.checked import Retrofit, YearSaved
from service.retrofit.figures import Figures, Spread


def as_json(told: Retrofit, currency: str) -> dict[str, Any]:
    """Return a check with `uncertainty` at 68, 90, 95 % and the confidence asked, as JSON writes it."""
    found, year = told.figures, told.year
    values = _verdict(told)
    if found is not None and year is not None:
        values |= _ground(found)
        values["uncertainty"] = [_spread(one) for one in found.spreads]
        values |= _year(year, currency) | _beside(found)
    rounded: dict[str, Any] = _plain(values)
    return rounded


def as_row(told: Retrofit, currency: str) -> dict[str, Any]:
    """Return a check as one row: the same names, the uncertainty at the confidence asked alone."""
    values = as_json(told, currency)
    spreads = values.pop("uncertainty", [])
    return values | next((one for one in spreads if one["confidence"] == told.confidence), {})


def _verdict(told: Retrofit) -> dict[str, Any]:
    found = told.figures
    return {
        "fan": told.fan,
        "before": str(told.before),
        "after": str(told.after),
        "basis": str(told.change.basis),
        "basis_reason": told.change.basis_reason,
        "changed": list(told.change.what),
        "power": told.power,
        "saving_kw": None if found is None else found.saving_kw,
        "saving_pct": None if found is None else found.saving_pct,
        "low_pct": None if found is None else found.low_pct,
        "high_pct": None if found is None else found.high_pct,
        "confidence": told.confidence,
        "promised_pct": told.promised_pct,
        "met": told.met,
        "reason": told.reason,
        "more_days": told.more_days,
        "cautions": list(told.cautions),
        "outside_changes": list(told.outside_changes),
        "days_left_out": [date.isoformat() for date in told.left_out],
    }


def _ground(found: Figures) -> dict[str, Any]:
    return {
        "adjusted_before_kw": found.adjusted_kw,
        "after_kw": found.after_kw,
        "inside_before_range_pct": 100.0 * found.compared.share_inside,
        "hours_before": found.hours_before,
        "hours_after": found.hours_after,
        "days_before": found.guideline.days_before,
        "days_after": found.guideline.days_after,
    }


def _spread(one: Spread) -> dict[str, Any]:
    return {
        "confidence": one.confidence,
        "low_pct": one.low_pct,
        "high_pct": one.high_pct,
        "fraction_of_saving": one.fractional,
        "guideline_14_fraction_of_saving": one.guideline_fractional,
        "bootstrap_low_pct": one.drawn_low_pct,
        "bootstrap_high_pct": one.drawn_high_pct,
    }


def _year(year: YearSaved, currency: str) -> dict[str, Any]:
    return {
        "saving_kwh_year": year.kwh,
        "saving_kwh_year_low": year.low_kwh,
        "saving_kwh_year_high": year.high_kwh,
        "hours_year": year.hours,
        "saving_money_year": year.money[0],
        "saving_money_year_low": year.money[1],
        "saving_money_year_high": year.money[2],
        "currency": currency,
    }


def _beside(found: Figures) -> dict[str, Any]:
    parts = {"restored": found.restored, "renewed": found.renewed}
    return {
        **{
            f"{name}_{end}": None if part is None else getattr(part, end)
            for name, part in parts.items()
            for end in ("kw", "low_kw", "high_kw")
        },
        "meter_before_kw": found.mean_before_kw,
        "meter_after_kw": found.mean_after_kw,
        "same_command_change_pct": found.same_command_pct,
    }


def _plain(values: Any) -> Any:
    if isinstance(values, dict):
        return {name: _plain(value) for name, value in values.items()}
    if isinstance(values, list):
        return [_plain(value) for value in values]
    if isinstance(values, float):
        return round(values, 6) if math.isfinite(values) else None
    return values
