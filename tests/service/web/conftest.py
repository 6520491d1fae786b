"""A small site whose ledger rows are planted, and a browser's worth of asking."""

import asyncio
import csv
import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from analytics.ledger import NAMED_CAUSES
from analytics.vocabulary import Cause
from config import load_site
from config.folder import SiteFolder
from service.store import Store, open_store
from service.store.alert_tables import alerts as alerts_table
from service.store.ledger_tables import NUMBERS, daily, episodes, fan_days, hour_marks
from service.store.tables import generations, passes
from service.web import web_app
from tests.service.databases import copy_site, database_line

PORT = 8710
NOW = dt.datetime(2025, 7, 2, 12, tzinfo=dt.UTC)
LAST = dt.date(2025, 6, 30)
SLIPPING, TIGHT, LOST = "Mill RF-1", "Mill SF-1", "Kiln EF-1"
HOSTILE = (
    "<script>alert(1)</script>\"'&",
    "../../etc/passwd",
    "Nord/Süd Lüfter ⑨ ventilação",
    "a?b#c%2Fd daily",
    "x/daily",
)
_SITE = 'name = "Weir <b>College</b>"\ntimezone = "America/Denver"\n'
_HEAD = (
    "fan",
    "building",
    "location",
    "serves",
    "drive",
    "motor_kw",
    "speed_point",
    "current_point",
    "airflow_point",
    "pressure_point",
)


@dataclass
class Planted:
    """What a site shall hold: a fan's slip on each of its days, the latest last."""

    slip: dict[str, list[float]] = field(default_factory=dict)
    lost: tuple[str, ...] = ()


def write_site(folder: Path, fans: tuple[str, ...]) -> SiteFolder:
    folder.mkdir()
    (folder / "site.toml").write_text(database_line(folder) + _SITE, encoding="utf-8")
    with (folder / "fans.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(_HEAD)
        for number, fan in enumerate(fans):
            building = fan.split()[0] if fan[0].isalpha() else "Yard"
            points = [f"P{number}.{role}" for role in ("SPD", "AMP", "CFM", "DP")]
            rows.writerow([fan, building, "Loft <i>", "Hall", "v_belt", "7.5", *points])
    return load_site(folder)


def ledger_row(fan: str, date: dt.date, slip: float, cause: Cause = Cause.NONE) -> dict[str, Any]:
    shares = [float(named is cause) for named in NAMED_CAUSES]
    return {
        "fan": fan,
        "date": date,
        "hours": 12.0,
        "hours_used": 10,
        **dict.fromkeys(NUMBERS, 0.5),
        "slip_ref_pct": slip,
        "slip_ref_low_pct": slip - 0.5,
        "slip_ref_high_pct": slip + 0.5,
        "excess_kw": 0.1 * slip,
        "cause": cause.value,
        "cause_share": 1.0,
        "note": "",
        "is_healthy_period": False,
        "shares": shares,
        "last_reading": dt.datetime.combine(date, dt.time(23), tzinfo=dt.UTC),
        "digest": "0" * 64,
    }


def plant(store: Store, planted: Planted) -> None:
    rows, days, alerts = [], [], []
    for fan, slips in planted.slip.items():
        for back, slip in enumerate(reversed(slips)):
            date = LAST - dt.timedelta(days=back)
            cause = Cause.BELT_SLIP if slip > 3.0 else Cause.NONE
            rows.append(ledger_row(fan, date, slip, cause))
            reading = rows[-1]["last_reading"]
            days.append(
                {
                    "fan": fan,
                    "date": date,
                    "digest": "0" * 64,
                    "hours_running": 12.0,
                    "hours_steady": 10,
                    "interval_s": 900.0,
                    "last_reading": reading,
                }
            )
        if slips[-1] > 3.0:
            alerts.append(_alert(fan, "belt_slip", "slip past its limit", Cause.BELT_SLIP))
    alerts += [_alert(fan, "drive_lost", "drive lost", Cause.DRIVE_LOST) for fan in planted.lost]
    for number, alert in enumerate(alerts, start=1):
        alert["alert_id"] = number
    known = [
        {"id": alert["alert_id"], "written_at": NOW}
        | {name: alert[name] for name in ("fan", "kind", "topic", "opened_on")}
        for alert in alerts
    ]
    with store.writer() as connection:
        done = {"id": 1, "folder": "g", "settings_digest": "0", "state": "current", "begun": NOW}
        connection.execute(sa.insert(generations), [done])
        finished = NOW - dt.timedelta(hours=2)
        connection.execute(
            sa.insert(passes),
            [
                {
                    "marker": "m",
                    "generation_id": 1,
                    "settings_digest": "0",
                    "state": "done",
                    "has_readings": True,
                    "started": finished,
                    "finished": finished,
                }
            ],
        )
        mark = {"id": 1, "pass_id": 1, "generation": "g", "hours_version": 1}
        connection.execute(sa.insert(hour_marks), [mark])
        for table, found in ((daily, rows), (fan_days, days), (alerts_table, known), (episodes, alerts)):
            if found:
                connection.execute(sa.insert(table), found)


def _alert(fan: str, kind: str, topic: str, cause: Cause) -> dict[str, Any]:
    return {
        "fan": fan,
        "kind": kind,
        "topic": topic,
        "level": "act",
        "opened_on": LAST - dt.timedelta(days=3),
        "opened_at": dt.datetime(2025, 6, 28, 5, 45, tzinfo=dt.UTC),
        "act_on": LAST,
        "cause": cause.value,
        "cause_share": 1.0,
        "value_pct": 6.0,
        "message": f"{topic} & told",
    }


class Asking:
    """Asks the application as a browser on this machine would."""

    def __init__(self, site: SiteFolder, store: Store, bind: str = "127.0.0.1", **further: bool) -> None:
        self.site = site
        self.store = store
        self.now = NOW
        self.client = "127.0.0.1"
        self.cookies = httpx.Cookies()
        self.app = web_app(site, store, bind=bind, port=PORT, clock=lambda: self.now, **further)

    def __call__(
        self, path: str, method: str = "GET", headers: Mapping[str, str] | None = None, **sent: Any
    ) -> httpx.Response:
        """Ask with the cookies of before; `data` sends a form, `json` JSON, `content` bytes."""

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(
                app=self.app, raise_app_exceptions=False, client=(self.client, 50000)
            )
            async with httpx.AsyncClient(
                transport=transport, base_url=f"http://127.0.0.1:{PORT}", cookies=self.cookies
            ) as client:
                answer = await client.request(method, path, headers=dict(headers or {}), **sent)
                self.cookies = client.cookies
                return answer

        return asyncio.run(ask())

    def send(self, page: str, action: str, **fields: str) -> httpx.Response:
        """Open a page, fill in one of its forms and send it."""
        token = re.search(r'name="form_token" value="([^"]+)"', self(page).text)
        assert token is not None, f"{page} has no form of its own"
        return self(action, "POST", data={"form_token": token[1], **fields})

    def log_in(self, name: str, password: str) -> httpx.Response:
        """Log in as a person would."""
        return self.send("/login", "/login", name=name, password=password)


def _prepared(folder: Path, fans: tuple[str, ...], planted: Planted | None) -> Path:
    site = write_site(folder, fans)
    with open_store(site) as store:
        if planted is not None:
            plant(store, planted)
    return folder


@pytest.fixture(scope="session")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    slips = {SLIPPING: [1.0] * 30 + [4.0, 5.0, 6.0], TIGHT: [1.1] * 33, LOST: [1.0] * 33}
    planted = Planted(slips, (LOST,))
    return _prepared(tmp_path_factory.mktemp("usual") / "site", (TIGHT, SLIPPING, LOST), planted)


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    planted = Planted({fan: [1.0, 6.0] for fan in HOSTILE})
    return _prepared(tmp_path_factory.mktemp("hostile") / "site", HOSTILE, planted)


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _prepared(tmp_path_factory.mktemp("empty") / "site", (TIGHT,), None)


def _opened(prepared: Path, folder: Path) -> Iterator[Asking]:
    copy_site(prepared, folder)
    site = load_site(folder)
    with open_store(site) as store:
        yield Asking(site, store)


@pytest.fixture
def ask(usual: Path, tmp_path: Path) -> Iterator[Asking]:
    """A site with a slipping, a tight and a lost drive."""
    yield from _opened(usual, tmp_path / "copy")


@pytest.fixture
def ask_hostile(hostile: Path, tmp_path: Path) -> Iterator[Asking]:
    """A site whose fans have hostile names."""
    yield from _opened(hostile, tmp_path / "copy")


@pytest.fixture
def ask_empty(empty: Path, tmp_path: Path) -> Iterator[Asking]:
    """A site from which nothing has been pulled."""
    yield from _opened(empty, tmp_path / "copy")
