"""What the API says of the maintenance round: a row a fan in the order of going, with what its sheet says."""

import datetime as dt
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, Field

from service.round.plan import FanSheet
from service.store.fleet import Standing
from service.web.api_answer import Paging, page_of, paging
from service.web.api_reading import OTHER_KINDS, listed
from service.web.desk import Desk
from service.web.problem import ErrorShape
from service.web.round_asked import RoundAsked, planned_round

_REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    404: {"model": ErrorShape, "description": "The ledger has no day up to then."},
    422: {"model": ErrorShape, "description": "A day and a quarter name different rounds."},
}
_Date = Annotated[dt.date | None, Query(description="As of this plant day; the ledger's last where blank.")]
_Quarter = Annotated[
    str | None,
    Query(pattern=r"^[0-9]{4}-Q[1-4]$", description="As of a quarter's last day.", examples=["2025-Q3"]),
]
_Building = Annotated[str | None, Query(description="One building alone.")]


class RoundRow(BaseModel):
    """One fan's sheet: `group` those who want somebody soon, worst first, then each building in its order.

    `look_for` is what the data say, `due` what the calendar says of belts, grease and work done, `done` what
    the log has of the quarter; the cautions of the sheet hold for programs' readers too.
    """

    group: str = Field(examples=["Alder Hall"])
    fan: str = Field(examples=["AHU-2 SF"])
    building: str
    standing: Standing
    tell_first: str
    look_for: list[str]
    due: list[str]
    done: list[str]
    check_figure: str
    tight_rpm: float | None
    inferred_rpm: float | None
    parts: str
    belt_tension: str
    costs: str


_COLUMNS: Final = tuple(RoundRow.model_fields)


def add_round(router: APIRouter, desk: Desk) -> None:
    """Add the round."""

    @router.get(
        "/round",
        response_model=listed(RoundRow),
        responses=OTHER_KINDS | _REFUSALS,
        summary="The maintenance round in the order of going: what to look for and what is due, fan by fan",
    )
    def _round(
        request: Request,
        part: Annotated[Paging, Depends(paging)],
        date: _Date = None,
        quarter: _Quarter = None,
        building: _Building = None,
    ) -> Response:
        asked = RoundAsked(None if date is None else date.isoformat(), quarter, building)
        planned = planned_round(desk, asked, part.offset + part.limit + 1, refusal=422)
        rows = [_row(group, sheet) for group, sheets in planned.groups for sheet in sheets]
        return page_of(request, rows[part.offset :], _COLUMNS, part)


def _row(group: str, sheet: FanSheet) -> dict[str, Any]:
    return {
        "group": group,
        "fan": sheet.fan,
        "building": sheet.building,
        "standing": sheet.standing.value,
        "tell_first": sheet.tell_first,
        "look_for": list(sheet.signs),
        "due": list(sheet.due),
        "done": list(sheet.done),
        "check_figure": sheet.figure,
        "tight_rpm": sheet.tight_rpm,
        "inferred_rpm": sheet.inferred_rpm,
        "parts": sheet.parts,
        "belt_tension": sheet.tension,
        "costs": sheet.cost,
    }
