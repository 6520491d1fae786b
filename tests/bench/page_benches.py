"""What the fleet page costs beside the bare read of the numbers it shows."""

import asyncio
import datetime as dt
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, Final

import httpx
import numpy as np
import sqlalchemy as sa
from starlette.types import ASGIApp

from analytics.ledger import NAMED_CAUSES
from analytics.vocabulary import Cause
from config import load_site
from service.store import Store, open_store
from service.store.alert_tables import alerts
from service.store.ledger_tables import NUMBERS, curves, daily, episodes, fan_days
from service.web import web_app
from tests.bench.bench import Bench, Size
from tests.bench.trends import fan_names, write_site

LAST: Final = dt.date(2025, 6, 30)
_NOW: Final = dt.datetime(2025, 7, 1, 12, tzinfo=dt.UTC)
_PORT: Final = 8710
_LINE_DAYS: Final = 90
_MOST_WIRE_BYTES: Final = 400_000
_BATCH: Final = 50


def plant_ledger(inputs: Path, size: Size) -> None:
    """Plant the ledger of a fleet: one fan in ten slips, one in fifty cannot be judged."""
    write_site(inputs, size)
    with open_store(load_site(inputs)) as store:
        names = fan_names(size)
        for start in range(0, size.fans, _BATCH):
            batch = list(enumerate(names))[start : start + _BATCH]
            rows = [row for number, fan in batch for row in _ledger(number, fan, size.days)]
            days = [_fan_day(row) for row in rows]
            with store.writer() as connection:
                connection.execute(sa.insert(daily), rows)
                connection.execute(sa.insert(fan_days), days)
        _plant_alerts(store, names)


def _ledger(number: int, fan: str, days: int) -> Iterator[dict[str, Any]]:
    draw = np.random.default_rng(number)
    is_slipping, is_blind = number % 10 == 0, number % 50 == 1
    slip = 1.0 + 0.1 * draw.standard_normal(days).cumsum() / np.sqrt(days)
    slip = slip + (np.linspace(0.0, draw.uniform(2.0, 8.0), days) if is_slipping else 0.0)
    width = draw.uniform(0.3, 1.2)
    cause = Cause.BELT_SLIP if is_slipping else Cause.NONE
    for day in range(days):
        is_judged = not (is_blind and day > days - 20)
        level = max(float(slip[day]), 0.0)
        numbers = dict.fromkeys(NUMBERS, float(draw.normal(0.5, 0.2)) if is_judged else None)
        numbers |= {
            "slip_ref_pct": level,
            "slip_ref_low_pct": level - width,
            "slip_ref_high_pct": level + width,
        }
        numbers |= {"drag_ref_pct": 0.3, "drag_ref_low_pct": -0.8, "drag_ref_high_pct": 1.4}
        date = LAST - dt.timedelta(days=days - 1 - day)
        yield {
            "fan": fan,
            "date": date,
            "hours": 12.0,
            "hours_used": 10,
            **numbers,
            "cause": (cause if is_judged else Cause.NOT_JUDGED).value,
            "cause_share": 0.9 if is_judged else None,
            "note": "" if is_judged else "2 steady hours, 3 needed",
            "is_healthy_period": False,
            "shares": [0.9 if one is cause else 0.1 / (len(NAMED_CAUSES) - 1) for one in NAMED_CAUSES],
            "last_reading": dt.datetime.combine(date, dt.time(23), tzinfo=dt.UTC),
            "digest": "0" * 64,
            "is_awaited": True,
        }


def _fan_day(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "fan": row["fan"],
        "date": row["date"],
        "digest": "0" * 64,
        "hours_running": 12.0,
        "hours_steady": 10,
        "interval_s": 300.0,
        "last_reading": row["last_reading"],
    }


def _plant_alerts(store: Store, names: list[str]) -> None:
    opened = dt.datetime(2025, 6, 20, tzinfo=dt.UTC)
    with store.writer() as connection:
        for number, fan in enumerate(names):
            row = {
                "fan": fan,
                "kind": "belt_slip",
                "topic": "slip past its limit",
                "opened_on": opened.date(),
            }
            if number % 10:
                continue
            connection.execute(sa.insert(alerts), [{**row, "id": number + 1, "written_at": opened}])
            episode = {
                **row,
                "level": "act" if number % 20 else "watch",
                "opened_at": opened,
                "act_on": opened.date() if number % 20 else None,
                "cause": Cause.BELT_SLIP.value,
                "cause_share": 0.9,
                "message": "Slip at the reference torque is past its limit.",
                "alert_id": number + 1,
            }
            connection.execute(sa.insert(episodes), [episode])


@cache
def _opened(inputs: Path) -> tuple[ASGIApp, Store]:
    site = load_site(inputs)
    store = open_store(site)
    return web_app(site, store, bind="127.0.0.1", port=_PORT, clock=lambda: _NOW), store


def asked(inputs: Path, path: str) -> tuple[int, int]:
    """Ask for a page as a browser does; return its bytes on the wire and unpacked."""
    app, _ = _opened(inputs)

    async def ask() -> tuple[int, int]:
        base = f"http://127.0.0.1:{_PORT}"
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=base) as client:
            async with client.stream("GET", path, headers={"accept-encoding": "gzip"}) as answer:
                packed = b"".join([part async for part in answer.aiter_raw()])
                if answer.status_code != 200:
                    raise RuntimeError(f"{path} answered {answer.status_code}")
            return len(packed), int(answer.headers.get("content-length", len(packed)))

    return asyncio.run(ask())


def _fleet_page(inputs: Path, _folder: Path) -> None:
    wire, _ = asked(inputs, "/")
    if wire > _MOST_WIRE_BYTES:
        raise RuntimeError(f"the fleet page takes {wire} bytes on the wire")


def _fan_page(inputs: Path, _folder: Path) -> None:
    asked(inputs, "/fans/SF-0000")


def bare_fleet(inputs: Path, _folder: Path) -> None:
    """Read the numbers of the page as plain rows: every fan's latest, 90 days of slip, alerts, reasons."""
    _, store = _opened(inputs)
    newest = sa.select(daily.c.fan, sa.func.max(daily.c.date).label("date")).group_by(daily.c.fan).subquery()
    shown = ("fan", "date", "slip_ref_pct", "slip_ref_low_pct", "slip_ref_high_pct", "excess_kw", "cause")
    latest = sa.select(
        *(daily.c[name] for name in shown),
        *(daily.c[name] for name in ("drag_ref_pct", "drag_ref_low_pct", "drag_ref_high_pct", "note")),
        daily.c.shares,
        daily.c.cause_share,
    ).join(newest, (daily.c.fan == newest.c.fan) & (daily.c.date == newest.c.date))
    line = sa.select(daily.c.fan, daily.c.date, daily.c.slip_ref_pct).where(
        daily.c.date > LAST - dt.timedelta(days=_LINE_DAYS)
    )
    hours = sa.select(fan_days.c.fan, sa.func.avg(fan_days.c.hours_running)).group_by(fan_days.c.fan)
    opened = sa.select(episodes).where(episodes.c.closed_on.is_(None))
    with store.reader() as connection:
        for query in (latest, line, hours, opened, sa.select(curves.c.fan, curves.c.reason)):
            connection.execute(query).all()


def _bare_fan(inputs: Path, _folder: Path) -> None:
    """Read one fan's ledger as plain rows."""
    _, store = _opened(inputs)
    columns = [column for column in daily.c if column.name != "state"]
    with store.reader() as connection:
        connection.execute(sa.select(*columns).where(daily.c.fan == "SF-0000")).all()


PAGES: Final = (
    Bench(
        "page fleet",
        "the fleet page of every fan, beside the bare read of what it shows",
        Size(2000, 120),
        plant_ledger,
        _fleet_page,
        {"bare read": bare_fleet},
        limit=3.0,
    ),
    Bench(
        "page fan",
        "one fan's page again, its charts drawn, beside the bare read of its ledger",
        Size(2000, 120),
        plant_ledger,
        _fan_page,
        {"bare read": _bare_fan},
    ),
)
