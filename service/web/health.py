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
from service.store.runs import Heartbeat, read_heartbeats
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
            late = late_jobs(connection, desk.clock())
    except sa.exc.SQLAlchemyError:
        return "failing", [*failing, "the database does not answer"]
    if failing:
        return "failing", failing
    overdue = [_lateness(beat) for beat in late]
    if ground.last_pull is None:
        return "waiting", ["nothing has been pulled yet", *overdue]
    if ground.ledger_date is None:
        return "waiting", ["readings are pulled but no day is in the ledger; run assess", *overdue]
    declared = {source.name for source in desk.current.get().site.sources}
    stale = overdue + _stale(desk, ground) + _down(state for state in sources if state.source in declared)
    return ("stale", stale) if stale else ("well", [])


def late_jobs(connection: sa.Connection, now: dt.datetime) -> list[Heartbeat]:
    """Return the worker's jobs that should have been done by now; none where no worker ever ran."""
    return [beat for beat in read_heartbeats(connection) if beat.is_late(now)]


def _lateness(beat: Heartbeat) -> str:
    kind = beat.job.split(" ", 1)[0]  # the rest may name a source
    tried = f", after {beat.failures} failed tries" if beat.failures else ""
    return f"a job of the worker is late: {kind}, due to be done by {beat.late_at:%Y-%m-%d %H:%M} UTC{tried}"


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
