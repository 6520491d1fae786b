"""The application: pages, API, health and metrics behind one guard."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from config.folder import SiteFolder
from service.store import Store
from service.web.api import api_routes
from service.web.current_site import CurrentSite
from service.web.desk import Desk
from service.web.guard import JSON_PATHS, Guard
from service.web.health import health_routes
from service.web.metrics import metrics_routes
from service.web.pages import page_routes
from service.web.paper import page
from service.web.problem import Problem

_COMPRESSED_BYTES = 2048


def web_app(
    site: SiteFolder,
    store: Store,
    *,
    bind: str,
    port: int,
    clock: Callable[[], dt.datetime],
) -> ASGIApp:
    """Return the application that serves a site at an address of this machine."""
    desk = Desk(CurrentSite(site), store, clock)
    # The documentation pages of the framework load scripts from elsewhere; the description itself is ours.
    app = FastAPI(
        title="Slipledger",
        version="1",
        description="Drive health of HVAC fans. Fields are added, never renamed or removed, within /api/v1.",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.include_router(page_routes(desk))
    app.include_router(api_routes(desk))
    app.include_router(health_routes(desk))
    app.include_router(metrics_routes(desk))
    app.mount("/static", StaticFiles(packages=[("service.web", "static")]))
    _answer_errors(app)
    return Guard(GZipMiddleware(app, minimum_size=_COMPRESSED_BYTES), bind, port)


def _answer_errors(app: FastAPI) -> None:
    def answered(request: Request, error: Exception) -> Response:
        return _error_answer(request, _problem_of(error))

    # Exception stands last: the framework raises it again after answering, so that it is logged.
    for kind in (Problem, HTTPException, RequestValidationError, sa.exc.SQLAlchemyError, Exception):
        app.add_exception_handler(kind, answered)


def _problem_of(error: Exception) -> Problem:
    if isinstance(error, Problem):
        return error
    if isinstance(error, RequestValidationError):
        told: list[Any] = [f"{'.'.join(str(part) for part in e['loc'])}: {e['msg']}" for e in error.errors()]
        return Problem(400, "; ".join(told), "see /openapi.json for what may be asked")
    if isinstance(error, HTTPException):
        if error.status_code == 404:
            return Problem(404, "There is nothing at this address.", "begin at /, or see /openapi.json")
        return Problem(error.status_code, str(error.detail), "see /openapi.json for what may be asked")
    if isinstance(error, sa.exc.SQLAlchemyError):
        remedy = "see that the database can be reached and ask again; nothing is lost"
        return Problem(503, "The site's database did not answer.", remedy)
    remedy = "ask again; if it stays, the words on the server's own terminal say more"
    return Problem(500, "This could not be answered: an error nobody foresaw.", remedy)


def _error_answer(request: Request, problem: Problem) -> Response:
    if request.url.path.startswith(JSON_PATHS):
        return JSONResponse(problem.as_json(), problem.status)
    return page("error.html", problem.status, problem=problem)
