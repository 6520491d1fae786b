"""Service done, entered on a fan's page."""

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import RedirectResponse, Response

from config import FaultySite
from service.access import Role
from service.alerts import log_service
from service.failure import WorkFailed
from service.logbook import append_service
from service.web.desk import Desk
from service.web.fan_sheet import FanSheet, Typed
from service.web.paper import fan_url
from service.web.problem import Problem
from service.web.visitor import actor, require
from service.web.writing import writing

_Text = Annotated[str, Form()]


def service_form_routes(desk: Desk, sheet: FanSheet) -> APIRouter:
    """Return the route; `sheet` shows the page again where the entry has a fault."""
    router = APIRouter(include_in_schema=False)

    @router.post("/service", dependencies=[Depends(require(Role.OPERATOR))])
    def _entered(
        request: Request,
        fan: _Text = "",
        work: _Text = "",
        date: _Text = "",
        time: _Text = "",
        role: _Text = "",
        motor_rpm: _Text = "",
        fan_rpm: _Text = "",
        speed: _Text = "",
        no_load_a: _Text = "",
        note: _Text = "",
        alert: _Text = "",
    ) -> Response:
        given = {
            "work": work,
            "date": date or desk.clock().astimezone(desk.site.site.zone).date().isoformat(),
            "time": time,
            "role": role,
            "motor_rpm": motor_rpm,
            "fan_rpm": fan_rpm,
            "speed": speed,
            "no_load_a": no_load_a,
            "note": " ".join(note.split()),
        }
        cells = {name: text.strip() for name, text in given.items() if text.strip()}
        known = desk.known_fan(fan)
        faults = _enter(desk, known, cells, alert.strip(), actor(request))
        if faults:
            return sheet.page(request, known, Typed({**cells, "alert": alert}, faults))
        return RedirectResponse(f"{fan_url(known)}#service-title", 303)

    return router


def _enter(desk: Desk, fan: str, cells: dict[str, str], alert: str, who: str) -> tuple[str, ...]:
    """Write the entry, or return what is wrong with it, with nothing written."""
    try:
        with writing(desk, "log"):
            if alert:
                log_service(desk.site, desk.store, _number(alert), cells, who, desk.clock())
            else:
                append_service(desk.site.path, {**cells, "fan": fan})
    except FaultySite as faulty:
        return tuple(
            str(fault) if fault.row != 0 else f"{fault.column}: {fault.problem}; {fault.remedy}."
            for fault in faulty.faults
        )
    except WorkFailed as failure:
        raise Problem(409, f"{failure}.", "go back and choose another alert, or none") from None
    return ()


def _number(text: str) -> int:
    if not text.isdecimal():
        raise Problem(400, f"{text!r} is no number of an alert.", "go back and choose one of the list")
    return int(text)
