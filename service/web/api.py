"""The API: what the pages show, as JSON."""

import datetime as dt
import math
from collections.abc import Mapping
from types import GenericAlias
from typing import Any, Final

import sqlalchemy as sa
from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, create_model

from analytics.sight import Seen
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy, Role
from service.alerts.book import COLUMNS as ALERT_COLUMNS
from service.assess.exports import COLUMNS as DAILY_COLUMNS
from service.store.fleet import FanStanding, Standing, fleet
from service.store.ledger_tables import NUMBERS, daily, episodes
from service.store.sight import NO_SIGHT, FanSight, latest_sights
from service.web.desk import Desk
from service.web.paper import fan_url
from service.web.problem import ErrorShape

_FAN_NUMBERS: Final = tuple(name for name in NUMBERS if name.startswith(("slip_ref", "drag_ref")))
_Number = (float | None, None)
_TYPES: Final[dict[str, Any]] = {
    "fan": (str, ...),
    "date": (dt.date, ...),
    "hours": (float, ...),
    "hours_used": (int, ...),
    "cause": (Cause, ...),
    "cause_share": _Number,
    "note": (str, ...),
}
_DailyRow = create_model("DailyRow", **{name: _TYPES.get(name, _Number) for name in DAILY_COLUMNS})
_DAILY_ROWS: Final = GenericAlias(list, (_DailyRow,))


class AlertRow(BaseModel):
    """One alert, as `export alerts` writes it."""

    fan: str
    kind: AlertKind
    level: AlertLevel
    opened_on: dt.date
    opened_at: dt.datetime
    act_on: dt.date | None
    cause: Cause
    cause_share: float
    closed_on: dt.date | None
    closed_by: ClosedBy | None
    message: str


class FanRow(BaseModel):
    """How one fan stands, by its latest ledger row; reference values in per cent.

    `seen` is what its points let be seen of the drive, `least_slip_pct` the smallest slip that shows within a
    week, `best_point` the one point more that would help most.
    """

    fan: str
    building: str
    standing: Standing
    date: dt.date | None
    judged_on: dt.date | None
    slip_ref_pct: float | None
    slip_ref_low_pct: float | None
    slip_ref_high_pct: float | None
    drag_ref_pct: float | None
    drag_ref_low_pct: float | None
    drag_ref_high_pct: float | None
    excess_kw: float | None
    cost_a_year: float | None
    currency: str
    cause: Cause
    cause_share: float | None
    note: str
    seen: Seen | None
    least_slip_pct: float | None
    best_point: Role | None
    points_not_used: list[str]
    since: dt.date | None
    open_alerts: int
    page: str


def api_routes(desk: Desk) -> APIRouter:
    """Return the routes under /api/v1."""
    not_found: dict[int | str, dict[str, Any]] = {404: {"model": ErrorShape, "description": "No such fan."}}
    router = APIRouter(
        prefix="/api/v1",
        responses={503: {"model": ErrorShape, "description": "The database did not answer."}},
    )

    @router.get("/fans", response_model=list[FanRow], summary="Every fan as it stands, worst first")
    def _fans() -> Response:
        currency = desk.site.site.currency
        with desk.store.reader() as connection:
            sights = latest_sights(connection)
        fans = fleet(desk.site, desk.store)
        return _json([_fan_row(fan, currency, sights.get(fan.fan, NO_SIGHT)) for fan in fans])

    @router.get(
        "/fans/{fan:path}/daily",
        response_model=_DAILY_ROWS,
        responses=not_found,
        summary="A fan's daily ledger, by date",
    )
    def _daily(fan: str) -> Response:
        query = sa.select(*(daily.c[name] for name in DAILY_COLUMNS)).where(
            daily.c.fan == desk.known_fan(fan)
        )
        with desk.store.reader() as connection:
            rows = connection.execute(query.order_by(daily.c.date)).mappings().all()
        return _json(rows)

    @router.get("/alerts", response_model=list[AlertRow], summary="Every alert, by its opening")
    def _alerts() -> Response:
        query = sa.select(*(episodes.c[name] for name in ALERT_COLUMNS)).order_by(
            episodes.c.opened_at, episodes.c.fan, episodes.c.id
        )
        with desk.store.reader() as connection:
            rows = connection.execute(query).mappings().all()
        return _json(rows)

    return router


def _fan_row(fan: FanStanding, currency: str, told: FanSight) -> dict[str, Any]:
    row: Mapping[str, Any] = fan.row or {}
    judged: Mapping[str, Any] = fan.judged or {}
    return {
        "fan": fan.fan,
        "building": fan.building,
        "standing": fan.standing.value,
        "date": row.get("date"),
        "judged_on": judged.get("date"),
        **{name: row.get(name) for name in _FAN_NUMBERS},
        "excess_kw": judged.get("excess_kw"),
        "cost_a_year": fan.cost_a_year,
        "currency": currency,
        "cause": row.get("cause", Cause.NOT_JUDGED.value),
        "cause_share": row.get("cause_share"),
        "note": row.get("note", ""),
        **{name: told.as_json()[name] for name in ("seen", "least_slip_pct", "best_point")},
        "points_not_used": list(told.refused_words),
        "since": fan.since,
        "open_alerts": len(fan.alerts),
        "page": fan_url(fan.fan),
    }


def _json(rows: Any) -> JSONResponse:
    """Write rows as JSON: dates as ISO 8601, times in UTC with Z, null where there is no number."""
    return JSONResponse([{name: _plain(value) for name, value in row.items()} for row in rows])


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dt.datetime):
        return f"{value.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}"
    return value.isoformat() if isinstance(value, dt.date) else value
