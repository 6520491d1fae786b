"""The pages: the fleet, and one fan."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from service.notices.late_job import lateness_of
from service.store.fleet import WORST_FIRST, FanStanding, Standing
from service.web.desk import Desk
from service.web.fan_sheet import FanSheet, Typed
from service.web.fleet_choice import Choice
from service.web.fleet_view import fleet_rows
from service.web.health import footing, late_jobs
from service.web.marks import MARKS, MEANINGS, slug
from service.web.paper import page
from service.web.service_form import service_form_routes
from service.words import CAUTION

_VISITS: Final = (Standing.GO_NOW, Standing.GO_SOON, Standing.PLAN)


def page_routes(desk: Desk) -> APIRouter:
    """Return the routes of the pages."""
    router = APIRouter(include_in_schema=False)
    sheet = FanSheet(desk)

    @router.get("/")
    def _fleet(
        building: str = "", drive: str = "", standing: str = "", q: str = "", sort: str = ""
    ) -> HTMLResponse:
        return _fleet_page(desk, Choice.of(building, drive, standing, q, sort))

    @router.get("/fans/{fan:path}")
    def _fan(request: Request, fan: str, alert: str = "", closer: bool = False) -> HTMLResponse:
        return sheet.page(request, desk.known_fan(fan), Typed(), alert=alert, is_closer=closer)

    router.include_router(service_form_routes(desk, sheet))

    return router


def _fleet_page(desk: Desk, choice: Choice) -> HTMLResponse:
    rows, everyone = fleet_rows(desk, choice)
    with desk.store.reader() as connection:
        ground = footing(connection)
        late = late_jobs(connection, desk.clock())
    site = desk.site
    return page(
        "fleet.html",
        site=site.site,
        faults=desk.current.faults,
        rows=rows,
        everyone=everyone,
        choice=choice,
        rule=WORST_FIRST,
        ground=ground,
        late=[
            lateness_of(beat.job, beat.done, beat.late_at, beat.why_failed, site.site.zone) for beat in late
        ],
        pulled=None if ground.last_pull is None else ground.last_pull.astimezone(site.site.zone),
        buildings=sorted({fan.building for fan in everyone if fan.building}),
        drives=sorted({site.epochs(fan.fan)[-1].machine.drive.value for fan in everyone}),
        standings=_standings(everyone),
        visits=sum(fan.standing in _VISITS for fan in everyone),
        cost=sum(row.fan.cost_a_year or 0.0 for row in rows),
        caution=CAUTION,
    )


def _standings(everyone: list[FanStanding]) -> list[tuple[str, str, str, str, int]]:
    return [
        (
            standing.value,
            slug(standing),
            MARKS[standing],
            MEANINGS[standing],
            sum(fan.standing is standing for fan in everyone),
        )
        for standing in Standing
    ]
