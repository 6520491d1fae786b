"""The API: what the pages show, to programs."""

from typing import Any, Final

from fastapi import APIRouter

from service.web.api_actions import add_actions
from service.web.api_costs import add_costs
from service.web.api_reading import add_ledger, add_readings, add_records
from service.web.desk import Desk
from service.web.problem import ErrorShape

_REFUSALS: Final = {
    400: "What was asked cannot be understood.",
    401: "Nobody has logged in, or the token does not hold.",
    403: "There is no user yet, another site sent this, or the role does not do.",
    406: "None of the kinds of answer asked for can be given.",
    414: "The address is too long.",
    421: "The Host header names another host.",
    503: "The database did not answer, or not in time.",
}


def api_routes(desk: Desk) -> APIRouter:
    """Return the routes under /api/v1."""
    told: dict[int | str, dict[str, Any]] = {
        status: {"model": ErrorShape, "description": said} for status, said in _REFUSALS.items()
    }
    router = APIRouter(prefix="/api/v1", responses=told)
    add_ledger(router, desk)
    add_readings(router, desk)
    add_records(router, desk)
    add_costs(router, desk)
    add_actions(router, desk)
    return router
