"""The API: what the pages show, to programs."""

from typing import Any, Final

from fastapi import APIRouter

from service.web.api_actions import add_actions
from service.web.api_costs import add_costs
from service.web.api_reading import add_alerts, add_ledger, add_readings, add_records
from service.web.api_retrofit import add_retrofit
from service.web.api_round import add_round
from service.web.desk import Desk
from service.web.problem import ErrorShape

_NO_KIND: Final[dict[int | str, dict[str, Any]]] = {
    406: {"model": ErrorShape, "description": "None of the kinds of answer asked for can be given."}
}


def api_routes(desk: Desk) -> APIRouter:
    """Return the routes under /api/v1."""
    router = APIRouter(prefix="/api/v1", responses=_NO_KIND)
    add_ledger(router, desk)
    add_alerts(router, desk)
    add_readings(router, desk)
    add_records(router, desk)
    add_costs(router, desk)
    add_retrofit(router, desk)
    add_round(router, desk)
    add_actions(router, desk)
    return router
