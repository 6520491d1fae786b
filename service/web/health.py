"""Is the service doing its work: one state, and why, without a name in it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from service.store.ledger_tables import daily, fan_days, hour_marks
from service.store.source_stretches import SourceState, source_states
from service.store.tables import generations, passes
from service.web.desk import Desk

# Exports land nightly: a day, and half a day's grace. Common practice, no source.
STALE_AFTER: Final = dt.timedelta(hours=36)
_BEHIND: Final = dt.timedelta(days=3)


class HealthAnswer(BaseModel):
    """The answer of `/health`."""

    state: Literal["well", "waiting", "stale", "failing"]
    why: Annotated[list[str], Field(description="One sentence a reason; empty where all is well.")]


@dataclass(frozen=True, slots=True)
class Footing:
    """What the pages stand on: when exports were last read and how far the ledger has followed.

    `last_pull` the end of the last finished pass; `last_reading`, `ledger_reading` the newest reading of
    all and of the ledger; `passes_behind` the finished passes that no `assess` has followed.
    """

    last_pull: dt.datetime | None
    last_reading: dt.datetime | None
    ledger_reading: dt.datetime | None
    ledger_date: dt.date | None
    passes_behind: int


def footing(connection: sa.Connection) -> Footing:
    """Read what the pages stand on."""
    done = passes.join(generations)
    finished = (passes.c.state == "done") & (generations.c.state != "building")
    last_pull = connection.execute(
        sa.select(sa.func.max(passes.c.finished, type_=passes.c.finished.type))
        .select_from(done)
        .where(finished)
    ).scalar()
    followed = connection.execute(sa.select(sa.func.max(hour_marks.c.pass_id))).scalar() or 0
    behind = connection.execute(
        sa.select(sa.func.count()).select_from(done).where(finished, passes.c.id > followed)
    ).scalar()
    reading = fan_days.c.last_reading
    newest = connection.execute(sa.select(sa.func.max(reading, type_=reading.type))).scalar()
    ledger = connection.execute(
        sa.select(
            sa.func.max(daily.c.last_reading, type_=daily.c.last_reading.type),
            sa.func.max(daily.c.date),
        )
    ).one()
    return Footing(last_pull, newest, ledger[0], ledger[1], int(behind or 0))


def health(desk: Desk) -> tuple[str, list[str]]:
    """Return the state and its reasons, the gravest state first."""
    failing: list[str] = []
    desk.current.get()
    if desk.current.faults:
        failing.append("a file of the site is faulty since the service read it; run check")
    try:
        with desk.store.reader() as connection:
            ground = footing(connection)
            sources = source_states(connection).values()
    except sa.exc.SQLAlchemyError:
        return "failing", [*failing, "the database does not answer"]
    if failing:
        return "failing", failing
    if ground.last_pull is None:
        return "waiting", ["nothing has been pulled yet"]
    if ground.ledger_date is None:
        return "waiting", ["readings are pulled but no day is in the ledger; run assess"]
    declared = {source.name for source in desk.current.get().site.sources}
    stale = _stale(desk, ground) + _down(state for state in sources if state.source in declared)
    return ("stale", stale) if stale else ("well", [])


def _stale(desk: Desk, ground: Footing) -> list[str]:
    why: list[str] = []
    if ground.last_pull is not None and desk.clock() - ground.last_pull > STALE_AFTER:
        hours = STALE_AFTER.total_seconds() / 3600.0
        why.append(f"the last pull ended more than {hours:.0f} h ago")
    if ground.last_reading is not None and ground.ledger_reading is not None:
        behind = ground.last_reading - ground.ledger_reading
        if behind > _BEHIND:
            why.append(f"the ledger is {behind.days} days behind the readings; run assess")
    return why


def _down(sources: Iterable[SourceState]) -> list[str]:
    return [
        f"a source of exports has been down for {state.passes} passes, "
        f"since {state.first_at:%Y-%m-%d %H:%M} UTC"
        for state in sources
        if state.stays_down
    ]


def health_routes(desk: Desk) -> APIRouter:
    """Return the route."""
    router = APIRouter()
    unwell: dict[int | str, dict[str, Any]] = {503: {"model": HealthAnswer, "description": "Not well."}}

    @router.get("/health", response_model=HealthAnswer, responses=unwell, summary="Is the service well?")
    def _health() -> Response:
        state, why = health(desk)
        return JSONResponse({"state": state, "why": why}, 200 if state == "well" else 503)

    return router
