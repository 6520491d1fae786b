"""The application: pages, API, health and metrics behind a door and a guard."""

import datetime as dt
from collections.abc import Callable

import sqlalchemy as sa
from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from config.folder import SiteFolder
from service.store import Store
from service.web.alert_pages import alert_page_routes
from service.web.answers import error_answer, problem_of
from service.web.api import api_routes
from service.web.bounds import Bounds
from service.web.current_site import CurrentSite
from service.web.description import describe, description_routes
from service.web.desk import Desk
from service.web.door import Door
from service.web.downloads import download_routes
from service.web.guard import Guard
from service.web.health import health_routes
from service.web.login import login_routes
from service.web.metrics import metrics_routes
from service.web.pages import page_routes
from service.web.people import people_routes
from service.web.problem import Problem
from service.web.reach import Reach
from service.web.retrofit_page import retrofit_routes
from service.web.round_page import round_routes
from service.web.routes import RouteTable
from service.web.site_pages import site_page_routes

_COMPRESSED_BYTES = 2048


def web_app(
    site: SiteFolder,
    store: Store,
    *,
    bind: str,
    port: int,
    clock: Callable[[], dt.datetime],
    is_behind_proxy: bool = False,
    is_encrypted: bool = False,
) -> ASGIApp:
    """Return the application that serves a site at an address."""
    reach = Reach(bind, port, site.site.web.public_url, is_behind_proxy, is_encrypted)
    desk = Desk(CurrentSite(site), store, clock)
    # The documentation pages of the framework load scripts from elsewhere; the description itself is ours.
    app = FastAPI(
        title="Slipledger",
        version="1",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    routers = (*site_routers(desk, reach), description_routes(desk, app))
    describe(app)
    for router in routers:
        app.include_router(router)
    app.mount("/static", StaticFiles(packages=[("service.web", "static")]))
    _answer_errors(app)
    packed = GZipMiddleware(app, minimum_size=_COMPRESSED_BYTES)
    return Guard(Bounds(Door(packed, store, reach, RouteTable(routers), clock)), reach)


def site_routers(desk: Desk, reach: Reach) -> tuple[APIRouter, ...]:
    """Return every router of the application."""
    return (
        page_routes(desk),
        alert_page_routes(desk),
        round_routes(desk),
        retrofit_routes(desk),
        site_page_routes(desk),
        download_routes(desk),
        login_routes(desk, reach),
        people_routes(desk),
        api_routes(desk),
        health_routes(desk),
        metrics_routes(desk),
    )


def _answer_errors(app: FastAPI) -> None:
    def answered(request: Request, error: Exception) -> Response:
        return error_answer(request.url.path, problem_of(error))

    # Exception stands last: the framework raises it again after answering, so that it is logged.
    for kind in (Problem, HTTPException, RequestValidationError, sa.exc.SQLAlchemyError, Exception):
        app.add_exception_handler(kind, answered)
