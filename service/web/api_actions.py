"""What programs may change: who has an alert in hand, and service done."""

from collections.abc import Callable
from types import GenericAlias
from typing import Any, Final

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse

from config import FaultySite, ServiceEntry
from service import alerts
from service.access import Role, note_change
from service.failure import WorkFailed
from service.logbook import append_service
from service.web.api_answer import plain
from service.web.api_reading import NO_ALERT, NO_FAN, history_rows
from service.web.api_rows import HistoryRow, NoteIn, ReasonIn, ServiceIn, ServiceRow, ShelveIn
from service.web.desk import Desk
from service.web.problem import ErrorShape, Problem
from service.web.visitor import actor, require
from service.web.writing import writing

_HISTORY: Final = GenericAlias(list, (HistoryRow,))
_SERVICE_COLUMNS: Final = tuple(ServiceRow.model_fields)
_REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    408: {"model": ErrorShape, "description": "The request was not there in time."},
    409: {"model": ErrorShape, "description": "It cannot be done as things stand; nothing was changed."},
    413: {"model": ErrorShape, "description": "Too much was sent."},
    415: {"model": ErrorShape, "description": "It takes JSON, not packed."},
    503: {"model": ErrorShape, "description": "Another process writes to the site; nothing was kept."},
}
_FAULT: Final[dict[int | str, dict[str, Any]]] = {
    422: {"model": ErrorShape, "description": "The entry has a fault; nothing was written."}
}
_FOR_OPERATORS: Final = [Depends(require(Role.OPERATOR))]


def add_actions(router: APIRouter, desk: Desk) -> None:
    """Add what may be done about an alert, and entering service done."""
    _add_handling(router, desk)
    _add_service(router, desk)


def _add_handling(router: APIRouter, desk: Desk) -> None:
    told: dict[str, Any] = {
        "response_model": _HISTORY,
        "responses": NO_ALERT | _REFUSALS,
        "dependencies": _FOR_OPERATORS,
    }

    def done(number: int, act: Callable[[], None]) -> Response:
        history_rows(desk, number)  # 404 where there is no such alert
        try:
            with writing(desk, "alert"):
                act()
        except WorkFailed as failed:
            raise _conflict(failed) from None
        return JSONResponse([_plainly(row) for row in history_rows(desk, number)])

    @router.post("/alerts/{number}/acknowledge", summary="Somebody has it in hand", **told)
    def _acknowledge(request: Request, number: int, said: NoteIn) -> Response:
        who, at = actor(request), desk.clock()
        return done(number, lambda: alerts.acknowledge(desk.store, number, who, said.note, at))

    @router.post("/alerts/{number}/shelve", summary="Set it aside up to a day", **told)
    def _shelve(request: Request, number: int, said: ShelveIn) -> Response:
        who, at, until, note = actor(request), desk.clock(), said.until, said.note
        return done(number, lambda: alerts.shelve(desk.store, number, until, who, note, at))

    @router.post("/alerts/{number}/take-up", summary="Nobody has it in hand any more", **told)
    def _take_up(request: Request, number: int, said: NoteIn) -> Response:
        who, at = actor(request), desk.clock()
        return done(number, lambda: alerts.take_up(desk.store, number, who, said.note, at))

    @router.post("/alerts/{number}/close", summary="End it, for a reason", **told)
    def _close(request: Request, number: int, said: ReasonIn) -> Response:
        who, at = actor(request), desk.clock()
        return done(number, lambda: alerts.close(desk.store, number, who, said.note, at))


def _add_service(router: APIRouter, desk: Desk) -> None:
    told: dict[str, Any] = {"response_model": ServiceRow, "status_code": 201, "dependencies": _FOR_OPERATORS}

    @router.post(
        "/fans/{fan:path}/service",
        summary="Enter service done",
        responses=NO_FAN | _REFUSALS | _FAULT,
        **told,
    )
    def _enter(request: Request, fan: str, said: ServiceIn) -> Response:
        name = desk.known_fan(fan)
        with writing(desk, "log"):
            entry = _entered(lambda: append_service(desk.site.path, {**said.cells(), "fan": name}))
            with desk.store.writer() as connection:
                what = f"service entered: {entry.work.value} on {entry.date}"
                note_change(connection, actor(request), what, name, desk.clock())
        return _created(entry)

    @router.post(
        "/alerts/{number}/service",
        summary="Enter service done because of an alert",
        responses=NO_ALERT | _REFUSALS | _FAULT,
        **told,
    )
    def _enter_for(request: Request, number: int, said: ServiceIn) -> Response:
        history_rows(desk, number)  # 404 where there is no such alert
        who, at, cells = actor(request), desk.clock(), said.cells()
        with writing(desk, "log"):
            entry = _entered(lambda: alerts.log_service(desk.site, desk.store, number, cells, who, at))
        return _created(entry)


def _entered(enter: Callable[[], ServiceEntry]) -> ServiceEntry:
    try:
        return enter()
    except FaultySite as faulty:
        told = "; ".join(f"{fault.column}: {fault.problem}" for fault in faulty.faults)
        raise Problem(422, told, "; ".join(fault.remedy for fault in faulty.faults)) from None
    except WorkFailed as failed:
        raise _conflict(failed) from None


def _created(entry: ServiceEntry) -> Response:
    return JSONResponse(_plainly({name: getattr(entry, name) for name in _SERVICE_COLUMNS}), 201)


def _plainly(row: dict[str, Any]) -> dict[str, Any]:
    return {name: plain(value) for name, value in row.items()}


def _conflict(failed: WorkFailed) -> Problem:
    said = str(failed)
    return Problem(409, f"{said[0].upper()}{said[1:]}.", "see the alert's history, then ask again")
