"""What the API says of money: a fan's yearly costs, and what may be done about its drive."""

import math
from dataclasses import fields
from typing import Any, Final

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, Field

from service.store.costs import FanCost, Figure
from service.store.fleet import FanStanding, fleet
from service.store.remedies import Remedy, remedies_of
from service.web.api_answer import answer
from service.web.api_reading import NO_FAN, OTHER_KINDS, listed
from service.web.desk import Desk


class CostRow(BaseModel):
    """What a fan's drive costs a year of its usual hours in its present state; low and high bound 95 %.

    Energy and money are of slip above an ordinary belt's creep and of the rise of drag, where control holds
    the air; in the limited hours no command can rise, air is lost and the meter falls, which is no saving.
    What a healthy drive of the kind loses anyway is the healthy part, and in no other.
    """

    fan: str = Field(examples=["AHU-2 SF"])
    currency: str
    running_hours: float
    line_kwh: float
    energy_kwh: float
    energy_low_kwh: float
    energy_high_kwh: float
    slip_kwh: float
    slip_low_kwh: float
    slip_high_kwh: float
    drag_kwh: float
    drag_low_kwh: float
    drag_high_kwh: float
    money: float
    money_low: float
    money_high: float
    co2_kg: float
    co2_low_kg: float
    co2_high_kg: float
    limited_hours: float
    air_lost_pct: float
    air_lost_low_pct: float
    air_lost_high_pct: float
    air_lost_m3s: float
    meter_falls_kwh: float
    healthy_kwh: float
    healthy_low_kwh: float
    healthy_high_kwh: float
    healthy_money: float


class RemedyRow(BaseModel):
    """One thing that may be done about a drive; a payback that is not known or without end is null."""

    remedy: str = Field(examples=["retension"])
    currency: str
    price: float
    price_low: float
    price_high: float
    saves_kwh: float
    saves_low_kwh: float
    saves_high_kwh: float
    saves_money: float
    saves_low_money: float
    saves_high_money: float
    payback_years: float | None
    payback_low_years: float | None
    payback_high_years: float | None
    mind: str


_COSTS: Final = tuple(CostRow.model_fields)
_REMEDIES: Final = tuple(RemedyRow.model_fields)
# Where the unit stands in a column's name, low and high go before it.
_UNITS: Final = ("_kwh", "_kg", "_pct", "_money", "_years")


def add_costs(router: APIRouter, desk: Desk) -> None:
    """Add costs and remedies."""

    @router.get(
        "/fans/{fan:path}/costs",
        response_model=listed(CostRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="What a fan's drive costs a year: one row, none where its load or state is not known",
    )
    def _costs(request: Request, fan: str) -> Response:
        one = _standing(desk, fan)
        rows = [] if one.cost is None else [_cost_row(one.fan, desk.site.site.currency, one.cost)]
        return answer(request, rows, _COSTS)

    @router.get(
        "/fans/{fan:path}/remedies",
        response_model=listed(RemedyRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="What may be done about a fan's drive, by the prices in site.toml",
    )
    def _remedies(request: Request, fan: str) -> Response:
        one, site = _standing(desk, fan), desk.site
        if one.cost is None or one.row is None:
            return answer(request, [], _REMEDIES)
        epoch = site.epoch_at(one.fan, one.row["date"]) or site.epochs(one.fan)[0]
        found = remedies_of(epoch, one.cost, site.site.prices)
        return answer(request, [_remedy_row(remedy, site.site.currency) for remedy in found], _REMEDIES)


def _standing(desk: Desk, fan: str) -> FanStanding:
    return fleet(desk.site, desk.store, [desk.known_fan(fan)])[0]


def _cost_row(fan: str, currency: str, cost: FanCost) -> dict[str, Any]:
    told: dict[str, Any] = {"fan": fan, "currency": currency}
    for field in fields(cost):
        value = getattr(cost, field.name)
        told |= _columns(field.name, value) if isinstance(value, Figure) else {field.name: value}
    return {name: told[name] for name in _COSTS}


def _remedy_row(remedy: Remedy, currency: str) -> dict[str, Any]:
    told: dict[str, Any] = {"remedy": remedy.name, "currency": currency, "mind": "; ".join(remedy.notes)}
    told |= _columns("price", remedy.price) | _columns("saves_kwh", remedy.energy_kwh)
    told |= _columns("saves_money", remedy.money)
    payback = remedy.payback_years or Figure(math.nan, math.nan, math.nan)
    told |= _columns("payback_years", payback)
    return {name: told[name] for name in _REMEDIES}


def _columns(name: str, figure: Figure) -> dict[str, float | None]:
    """Return a figure as three columns; what is no finite number is null."""
    unit = next((unit for unit in _UNITS if name.endswith(unit)), "")
    stem = name.removesuffix(unit)
    parts = {name: figure.centre, f"{stem}_low{unit}": figure.low, f"{stem}_high{unit}": figure.high}
    return {column: value if math.isfinite(value) else None for column, value in parts.items()}
