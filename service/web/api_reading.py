"""What the API reads: fans, ledger, alerts, readings, intake, service, jobs."""

import datetime as dt
from collections.abc import Mapping, Sequence
from itertools import islice
from types import GenericAlias
from typing import Annotated, Any, Final

import sqlalchemy as sa
from fastapi import APIRouter, Depends, Query, Request, Response

from analytics.vocabulary import Cause
from service.alerts.book import COLUMNS as ALERT_COLUMNS
from service.assess.exports import COLUMNS as DAILY_COLUMNS
from service.intake.exports import INTAKE_COLUMNS, readings_by_fan
from service.store.fleet import FanStanding, fleet
from service.store.handling import Handling, history, marks
from service.store.ledger_tables import NUMBERS, daily, episodes
from service.store.readings import PAST_SPAN
from service.store.sight import NO_SIGHT, FanSight, latest_sights
from service.store.tables import generations, intake, passes
from service.store.worker_tables import job_runs
from service.web.api_answer import CSV, MOST_ROWS, PARQUET, Paging, answer, page_of, paging
from service.web.api_rows import (
    AlertRow,
    DailyRow,
    FanRow,
    HistoryRow,
    IntakeRow,
    JobRow,
    ReadingRow,
    ServiceRow,
)
from service.web.desk import Desk
from service.web.paper import fan_url
from service.web.problem import ErrorShape, Problem

_FAN_NUMBERS: Final = tuple(name for name in NUMBERS if name.startswith(("slip_ref", "drag_ref")))
_FAN_COLUMNS: Final = tuple(FanRow.model_fields)
_ALERT_COLUMNS: Final = tuple(AlertRow.model_fields)
_HISTORY_COLUMNS: Final = tuple(HistoryRow.model_fields)
_JOB_COLUMNS: Final = tuple(JobRow.model_fields)
_SERVICE_COLUMNS: Final = tuple(ServiceRow.model_fields)
NO_FAN: Final[dict[int | str, dict[str, Any]]] = {404: {"model": ErrorShape, "description": "No such fan."}}
NO_ALERT: Final[dict[int | str, dict[str, Any]]] = {
    404: {"model": ErrorShape, "description": "No such alert."}
}
OTHER_KINDS: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "content": {
            CSV: {"schema": {"type": "string"}},
            PARQUET: {"schema": {"type": "string", "format": "binary"}},
        }
    },
    304: {"description": "Nothing has changed since the answer whose ETag was sent."},
}
_WEEK: Final = dt.timedelta(days=7)
_WINDOW: Final = dt.timedelta(days=31)
_EARLIEST: Final = dt.datetime(1900, 1, 1, tzinfo=dt.UTC)
_Part = Annotated[Paging, Depends(paging)]
_Fan = Annotated[str | None, Query(description="One fan alone.", examples=["AHU-2 SF"])]
_From = Annotated[dt.date | None, Query(alias="from", description="The first day, by plant time.")]
_To = Annotated[dt.date | None, Query(alias="to", description="The last day, that day included.")]
ALERT_NUMBER_MOST: Final = 2**31 - 1


def listed(row: Any) -> Any:
    """Return the type of a list of rows, as the description wants it."""
    return GenericAlias(list, (row,))


def add_ledger(router: APIRouter, desk: Desk) -> None:
    """Add fans and their daily ledger."""

    @router.get(
        "/fans",
        response_model=listed(FanRow),
        responses=OTHER_KINDS,
        summary="Every fan as it stands, worst first",
    )
    def _fans(request: Request, part: _Part) -> Response:
        currency = desk.site.site.currency
        with desk.store.reader() as connection:
            sights = latest_sights(connection)
        some = fleet(desk.site, desk.store)[part.offset : part.offset + part.limit + 1]
        rows = [_fan_row(fan, currency, sights.get(fan.fan, NO_SIGHT)) for fan in some]
        return page_of(request, rows, _FAN_COLUMNS, part)

    @router.get(
        "/fans/{fan:path}/daily",
        response_model=listed(DailyRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="A fan's daily ledger, by date",
    )
    def _daily(request: Request, fan: str, part: _Part, first: _From = None, last: _To = None) -> Response:
        query = sa.select(*(daily.c[name] for name in DAILY_COLUMNS))
        query = query.where(daily.c.fan == desk.known_fan(fan)).order_by(daily.c.date)
        if first is not None:
            query = query.where(daily.c.date >= first)
        if last is not None:
            query = query.where(daily.c.date <= last)
        return page_of(request, _rows(desk, query, part), DAILY_COLUMNS, part)


def add_alerts(router: APIRouter, desk: Desk) -> None:
    """Add the alerts and what became of them."""

    @router.get(
        "/alerts",
        response_model=listed(AlertRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="Every alert, by its opening",
    )
    def _alerts(
        request: Request,
        part: _Part,
        fan: _Fan = None,
        is_open: Annotated[bool, Query(alias="open", description="Open ones alone.")] = False,
    ) -> Response:
        query = sa.select(*(episodes.c[name] for name in ALERT_COLUMNS), episodes.c.alert_id.label("number"))
        query = query.order_by(episodes.c.opened_at, episodes.c.fan, episodes.c.id)
        if fan is not None:
            query = query.where(episodes.c.fan == desk.known_fan(fan))
        if is_open:
            query = query.where(episodes.c.closed_on.is_(None))
        return page_of(request, _with_handling(desk, _rows(desk, query, part)), _ALERT_COLUMNS, part)

    @router.get(
        "/alerts/{number}/history",
        response_model=listed(HistoryRow),
        responses=NO_ALERT | OTHER_KINDS,
        summary="What became of an alert, and who said so",
    )
    def _history(request: Request, number: int) -> Response:
        return answer(request, history_rows(desk, number), _HISTORY_COLUMNS)


def add_readings(router: APIRouter, desk: Desk) -> None:
    """Add the readings."""

    @router.get(
        "/fans/{fan:path}/readings",
        response_model=listed(ReadingRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="A fan's readings from a time to before another; the last week where none is named",
    )
    def _readings(
        request: Request,
        fan: str,
        first: Annotated[dt.datetime | None, Query(alias="from", examples=["2025-07-14T06:00:00Z"])] = None,
        last: Annotated[dt.datetime | None, Query(alias="to")] = None,
        limit: Annotated[int, Query(ge=1, le=MOST_ROWS, description="Rows a page.")] = MOST_ROWS,
    ) -> Response:
        name = desk.known_fan(fan)
        columns, rows = _readings_of(desk, name, _with_zone(first, "from"), _with_zone(last, "to"), limit)
        following = {"from": rows[limit]["time_utc"], "limit": str(limit)} if len(rows) > limit else None
        return answer(request, rows[:limit], columns, following)


def add_records(router: APIRouter, desk: Desk) -> None:
    """Add what came in, what was done to fans, and what the worker did."""

    @router.get(
        "/intake",
        response_model=listed(IntakeRow),
        responses=OTHER_KINDS,
        summary="What reading each file came to, the newest first",
    )
    def _intake(request: Request, part: _Part) -> Response:
        query = (
            sa.select(*(intake.c[name] for name in INTAKE_COLUMNS))
            .select_from(intake.join(passes).join(generations))
            .where(passes.c.state == "done", generations.c.state != "building")
            .order_by(intake.c.id.desc())
        )
        return page_of(request, _rows(desk, query, part), INTAKE_COLUMNS, part)

    @router.get(
        "/service",
        response_model=listed(ServiceRow),
        responses=NO_FAN | OTHER_KINDS,
        summary="Service done, as the service log says",
    )
    def _service(request: Request, part: _Part, fan: _Fan = None) -> Response:
        wanted = None if fan is None else desk.known_fan(fan)
        entries = (entry for entry in desk.site.service if wanted in (None, entry.fan))
        some = islice(entries, part.offset, part.offset + part.limit + 1)
        rows = [{name: getattr(entry, name) for name in _SERVICE_COLUMNS} for entry in some]
        return page_of(request, rows, _SERVICE_COLUMNS, part)

    @router.get(
        "/jobs",
        response_model=listed(JobRow),
        responses=OTHER_KINDS,
        summary="The runs of the worker's jobs, the newest first",
    )
    def _jobs(request: Request, part: _Part) -> Response:
        query = sa.select(*(job_runs.c[name] for name in _JOB_COLUMNS))
        query = query.order_by(job_runs.c.started.desc(), job_runs.c.id.desc())
        return page_of(request, _rows(desk, query, part), _JOB_COLUMNS, part)


def history_rows(desk: Desk, number: int) -> list[dict[str, Any]]:
    """Return the history of an alert; answer 404 where there is none of that number."""
    known = 0 < number <= ALERT_NUMBER_MOST
    with desk.store.reader() as connection:
        found = history(connection, [number])[number] if known else []
        is_known = bool(found) or (
            known
            and connection.execute(
                sa.select(episodes.c.id).where(episodes.c.alert_id == number).limit(1)
            ).first()
            is not None
        )
    if not is_known:
        raise Problem(404, f"There is no alert {number}.", "take the number from /api/v1/alerts")
    return [{**{name: row.get(name) for name in _HISTORY_COLUMNS}, "number": number} for row in found]


def _rows(desk: Desk, query: "sa.Select[Any]", part: Paging) -> Sequence[Mapping[str, Any]]:
    """Return a page of rows and one more, which tells that there are more."""
    with desk.store.reader() as connection:
        found = connection.execute(query.limit(part.limit + 1).offset(part.offset)).mappings().all()
    return [dict(row) for row in found]


def _with_handling(desk: Desk, rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    with desk.store.reader() as connection:
        said = marks(connection, [row["number"] for row in rows])
    untouched = Handling.UNTOUCHED
    return [
        {**row, "handling": (said[row["number"]].handling if row["number"] in said else untouched).value}
        for row in rows
    ]


def _with_zone(time: dt.datetime | None, name: str) -> dt.datetime | None:
    if time is not None and time.tzinfo is None:
        raise Problem(400, f"{name}: a time without a zone names no instant.", "end it with Z or an offset")
    return time


def _readings_of(
    desk: Desk, fan: str, first: dt.datetime | None, last: dt.datetime | None, limit: int
) -> tuple[list[str], list[dict[str, Any]]]:
    """Return the columns, and the first rows from a time on: one more than wanted where there are more."""
    site, store = desk.site, desk.store
    span = store.reading_span()
    empty = next(readings_by_fan(site, store, fan, (_EARLIEST, _EARLIEST)))
    columns, rows = list(empty.columns), list[dict[str, Any]]()
    if span is None:
        return columns, rows
    end = min(last or span[1] + _WEEK, span[1] + PAST_SPAN)
    start = max(first or end - _WEEK, span[0])
    while start < end and len(rows) <= limit:
        until = min(start + _WINDOW, end)
        for frame in islice(readings_by_fan(site, store, fan, (start, until)), 1, None):
            wanted = frame.iloc[: limit + 1 - len(rows)]
            rows += [{str(name): value for name, value in row.items()} for row in wanted.to_dict("records")]
        start = until
    return columns, rows


def _fan_row(fan: FanStanding, currency: str, told: FanSight) -> dict[str, Any]:
    row: Mapping[str, Any] = fan.row or {}
    judged: Mapping[str, Any] = fan.judged or {}
    return {
        "fan": fan.fan,
        "building": fan.building,
        "standing": fan.standing.value,
        "date": row.get("date"),
        "judged_on": judged.get("date"),
        **{name: row.get(name) for name in _FAN_NUMBERS},
        "excess_kw": judged.get("excess_kw"),
        "cost_a_year": fan.cost_a_year,
        "currency": currency,
        "cause": row.get("cause", Cause.NOT_JUDGED.value),
        "cause_share": row.get("cause_share"),
        "note": row.get("note", ""),
        **{name: told.as_json()[name] for name in ("seen", "least_slip_pct", "best_point")},
        "points_not_used": list(told.refused_words),
        "since": fan.since,
        "open_alerts": len(fan.alerts),
        "page": fan_url(fan.fan),
    }
