"""The page of the alerts, and what people say of them there."""

import datetime as dt
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from service.access import Role
from service.alerts import acknowledge, close, shelve, take_up
from service.failure import WorkFailed
from service.web.alerts_view import alerts_page
from service.web.desk import Desk
from service.web.paper import fan_url, page
from service.web.problem import Problem
from service.web.visitor import actor, require, visitor_of
from service.web.writing import writing
from service.words import CAUTION, capital

_Text = Annotated[str, Form()]
IN_HAND: Final = "in-hand"
ASIDE: Final = "aside"
UNTOUCHED: Final = "untouched"
OVER: Final = "over"


def alert_page_routes(desk: Desk) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)

    @router.get("/alerts")
    def _alerts(request: Request, fan: str = "") -> HTMLResponse:
        return page(
            "alerts.html",
            site=desk.site.site,
            faults=desk.current.faults,
            found=alerts_page(desk, fan),
            fan=fan,
            back=fan,
            may_act=visitor_of(request).may(Role.OPERATOR),
            caution=CAUTION,
        )

    @router.post("/alerts/{number}/handling", dependencies=[Depends(require(Role.OPERATOR))])
    def _handling(
        request: Request, number: int, what: _Text = "", note: _Text = "", until: _Text = "", back: _Text = ""
    ) -> Response:
        _handle(desk, number, what, actor(request), note, until)
        where = f"{fan_url(back)}#alerts-title" if back in desk.site.fan_names else f"/alerts#alert-{number}"
        return RedirectResponse(where, 303)

    return router


def _handle(desk: Desk, number: int, what: str, who: str, note: str, until: str) -> None:
    """Write what a person says of an alert; nothing is written where it lacks something."""
    now, store = desk.clock(), desk.store
    try:
        with writing(desk, "alert"):
            if what == ASIDE:
                shelve(store, number, _day(until), who, note, now)
            elif what == OVER:
                close(store, number, who, note, now)
            elif what == UNTOUCHED:
                take_up(store, number, who, note, now)
            elif what == IN_HAND:
                acknowledge(store, number, who, note, now)
            else:
                raise Problem(400, "The form does not say what to do with the alert.", "choose a button")
    except WorkFailed as failure:
        raise Problem(409, f"{capital(str(failure))}.", "go back; what you typed is still there") from None


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        remedy = "go back and choose the last day on which nobody need be sent"
        raise Problem(400, "Setting an alert aside wants a date.", remedy) from None
