"""The round's page, its sheet as CSV, a file of its own, and where a filled sheet comes back."""

import tempfile
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from config import FaultySite
from service.access import Role
from service.round import Round, enter_filled, round_csv
from service.round.cautions import CAUTIONS
from service.round.fields import CHECKS, READINGS
from service.web.desk import Desk
from service.web.marks import MARKS
from service.web.paper import page, written
from service.web.round_asked import RoundAsked, planned_round
from service.web.visitor import require
from service.web.writing import writing

_STYLES: Final = ("ledger.css", "round.css")
# A page of more sheets than a day's walk serves nobody; a building alone has fewer, and the CSV has all.
_MOST: Final = 60
_PASTED: Final = "the sheet"


def round_routes(desk: Desk) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)

    @router.get("/round")
    def _round(date: str = "", quarter: str = "", building: str = "") -> HTMLResponse:
        site = desk.site
        planned = planned_round(desk, RoundAsked(date, quarter, building), _MOST, refusal=400)
        return page(
            "round.html",
            site=site.site,
            faults=desk.current.faults,
            date=date,
            quarter=quarter,
            building=building,
            buildings=sorted({epoch.building for epoch in site.fans if epoch.building}),
            address=urlencode({"date": date, "quarter": quarter, "building": building}),
            **_told(planned),
        )

    @router.get("/round.csv")
    def _sheet(date: str = "", quarter: str = "", building: str = "") -> Response:
        planned = planned_round(desk, RoundAsked(date, quarter, building), None, refusal=400)
        named = {"content-disposition": f'attachment; filename="round-{planned.quarter}.csv"'}
        return Response(round_csv(planned), media_type="text/csv; charset=utf-8", headers=named)

    @router.post("/round/filled", dependencies=[Depends(require(Role.OPERATOR))])
    def _filled(filled: Annotated[str, Form()] = "") -> HTMLResponse:
        return _enter(desk, filled)

    return router


def round_file(planned: Round) -> str:
    """Write the round as one HTML file that needs nothing else, to be opened or printed anywhere."""
    folder = files("service.web").joinpath("static")
    styles = "\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in _STYLES)
    return written("round_file.html", styles=Markup(styles), **_told(planned))


def _told(planned: Round) -> dict[str, Any]:
    return {
        "planned": planned,
        "cautions": CAUTIONS,
        "readings": READINGS,
        "checks": CHECKS,
        "marks": MARKS,
    }


def _enter(desk: Desk, filled: str) -> HTMLResponse:
    told: dict[str, Any] = {"site": desk.site.site, "wrong": [], "entered": None}
    with tempfile.TemporaryDirectory() as folder, writing(desk, "log"):
        pasted = Path(folder) / _PASTED
        pasted.write_text(filled, encoding="utf-8", newline="")
        try:
            told["entered"] = enter_filled(desk.site.path, pasted)
        except FaultySite as faulty:
            told["wrong"] = [str(fault) for fault in faulty.faults]
    return page("round_entered.html", 400 if told["wrong"] else 200, **told)
