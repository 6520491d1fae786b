"""`slipledger retrofit`: did a change save what was promised, and how sure is that?"""

import json
import math
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from service.retrofit import Asked, Retrofit


def retrofit(
    site: SiteArgument,
    *,
    fan: Annotated[str, typer.Option(help="The fan.", show_default=False)],
    before: Annotated[
        str, typer.Option(metavar="A..B", help="Plant days before, both included.", show_default=False)
    ],
    after: Annotated[
        str, typer.Option(metavar="C..D", help="Plant days after, both included.", show_default=False)
    ],
    promised: Annotated[
        float | None,
        typer.Option(metavar="PCT", help="The saving promised, in per cent.", show_default=False),
    ] = None,
    confidence: Annotated[float, typer.Option(metavar="PCT", help="Of the interval, in per cent.")] = 90.0,
    basis: Annotated[
        str | None,
        typer.Option(
            metavar="drive|air",
            help="Equal airflow and pressure, or equal airflow alone; default: by what was changed.",
            show_default=False,
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as JSON.")] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the report (HTML) there.", show_default=False)
    ] = None,
    hours: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the hours compared (CSV) there.", show_default=False),
    ] = None,
) -> None:
    """Hold a fan's power before and after a change at the same air."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from config.faults import advice  # noqa: PLC0415 - kept out of --help
    from service.retrofit import (  # noqa: PLC0415 - kept out of --help
        RetrofitRefusedError,
        check_retrofit,
        hours_table,
        sentences,
    )
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    if fan not in declared.fan_names:
        remedy = advice(fan, list(declared.fan_names), "name a fan of fans.csv")
        raise typer.BadParameter(f"there is no fan {fan!r}; {remedy}", param_hint="--fan")
    try:
        asked = _asked(fan, before, after, promised, confidence, basis)
        with open_store(declared) as store:
            told = check_retrofit(declared, store, asked)
    except RetrofitRefusedError as refused:
        raise typer.BadParameter(str(refused), param_hint=refused.option) from None
    if hours is not None:
        hours_table(told).to_csv(hours, index=False)
    if out is not None:
        from service.web.retrofit_report import retrofit_report  # noqa: PLC0415 - kept out of --help

        out.write_text(retrofit_report(declared, told, _command(site, asked)), encoding="utf-8")
    if as_json:
        print(json.dumps(_as_json(told, declared.site.currency), indent=2))
    else:
        print("\n".join(sentences(told, declared.site.currency)))


def _asked(
    fan: str, before: str, after: str, promised: float | None, confidence: float, basis: str | None
) -> "Asked":
    from analytics.compared_hours import Basis  # noqa: PLC0415 - kept out of --help
    from service.retrofit import Asked, RetrofitRefusedError, read_period  # noqa: PLC0415 - kept out of --help

    periods = read_period(before, "--before"), read_period(after, "--after")
    if promised is not None and not 0.0 < promised < 100.0:
        raise RetrofitRefusedError(
            "--promised", f"{promised:g} is no saving in per cent: write one between 0 and 100"
        )
    if not 50.0 <= confidence <= 99.9:
        told = f"{confidence:g} is no confidence in per cent: write one from 50 to 99.9, for example 90"
        raise RetrofitRefusedError("--confidence", told)
    if basis is not None and basis not in tuple(Basis):
        raise RetrofitRefusedError("--basis", f"{basis!r} is no basis; write drive or air")
    return Asked(fan, *periods, promised, confidence, None if basis is None else Basis(basis))


def _command(site: Path, asked: "Asked") -> list[str]:
    parts = ["slipledger retrofit", shlex.quote(site.name), f"--fan {shlex.quote(asked.fan)}"]
    parts += [f"--before {asked.before}", f"--after {asked.after}"]
    parts += [] if asked.promised_pct is None else [f"--promised {asked.promised_pct:g}"]
    parts += [f"--confidence {asked.confidence:g}"]
    parts += [] if asked.basis is None else [f"--basis {asked.basis}"]
    return [*parts, "--hours hours.csv"]


def _as_json(told: "Retrofit", currency: str) -> dict[str, Any]:
    found, year = told.figures, told.year
    values: dict[str, Any] = {
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
    if found is not None and year is not None:
        values |= _figures_json(told, currency)
    return {name: _plain(value) for name, value in values.items()}


def _figures_json(told: "Retrofit", currency: str) -> dict[str, Any]:
    found, year = told.figures, told.year
    assert found is not None
    assert year is not None
    parts = {"restored": found.restored, "renewed": found.renewed}
    return {
        "adjusted_before_kw": found.adjusted_kw,
        "after_kw": found.after_kw,
        "inside_before_range_pct": 100.0 * found.compared.share_inside,
        "hours_before": found.hours_before,
        "hours_after": found.hours_after,
        "days_before": found.guideline.days_before,
        "days_after": found.guideline.days_after,
        "uncertainty": [
            {
                "confidence": one.confidence,
                "low_pct": one.low_pct,
                "high_pct": one.high_pct,
                "fraction_of_saving": one.fractional,
                "guideline_14_fraction_of_saving": one.guideline_fractional,
                "bootstrap_low_pct": one.drawn_low_pct,
                "bootstrap_high_pct": one.drawn_high_pct,
            }
            for one in found.spreads
        ],
        "saving_kwh_year": year.kwh,
        "saving_kwh_year_low": year.low_kwh,
        "saving_kwh_year_high": year.high_kwh,
        "hours_year": year.hours,
        "saving_money_year": year.money[0],
        "saving_money_year_low": year.money[1],
        "saving_money_year_high": year.money[2],
        "currency": currency,
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
