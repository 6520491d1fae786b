"""A site of invented fans whose ledger is written by hand, so that each fact of a mail has a known source."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from config import SiteFolder, load_site
from service.mail import Digest, Week, weekly_digest
from service.store import Store, open_store
from service.store.alert_tables import alerts
from service.store.ledger_tables import NUMBERS, daily, episodes
from tests.service.databases import database_line

WEEK = Week(2025, 24)
ZONE = "America/Denver"
HEAD = (
    "fan,building,location,access,serves,criticality,drive,motor_hp,motor_rpm,motor_sheave_in,fan_sheave_in,"
    "airflow_point,pressure_point,current_point,motor_fla\n"
)
FANS = (
    "RF-1,Alder Hall,Penthouse,Ladder from the hall,Classrooms,normal,v_belt,7.5,1740,5,8,A1,P1,I1,9.4",
    "LEF-1,Hopper Science,Roof,Stair 2; permit,Fume hoods,life_safety,v_belt,15,1752,5.4,7.2,A2,P2,I2,17.6",
    "AH-2,Wren Library,Attic,Freight lift,Reading rooms,critical,direct,20,1765,,,A3,P3,I3,23",
)
MAIL = """
[mail]
from = "Fan Desk <fans@college.example>"
weekly = ["manager@college.example", "Shop <shop@college.example>"]
smtp = "{smtp}"
"""


class Ledger:
    """A site's folder and store, with rows put in by hand."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.declare()

    def declare(
        self,
        fans: tuple[str, ...] = FANS,
        service: str = "",
        smtp: str = "smtp://127.0.0.1:9",
        name: str = "Test College",
    ) -> None:
        head = (
            database_line(self.folder) + f'name = "{name}"\ntimezone = "{ZONE}"\nenergy_price_per_kwh = 0.2\n'
        )
        (self.folder / "site.toml").write_text(head + MAIL.format(smtp=smtp), encoding="utf-8")
        (self.folder / "fans.csv").write_text(HEAD + "\n".join(fans) + "\n", encoding="utf-8")
        (self.folder / "service_log.csv").write_text(f"fan,date,work,note\n{service}", encoding="utf-8")

    @property
    def site(self) -> SiteFolder:
        return load_site(self.folder)

    def open(self) -> Store:
        return open_store(self.site)

    def days(
        self,
        fan: str,
        first: dt.date,
        last: dt.date,
        slip: Callable[[dt.date], float] = lambda _: 1.0,
        **values: Any,
    ) -> None:
        """Write a row a day; a value given by name stands in every one of them."""
        count = (last - first).days + 1
        rows = [
            _row(fan, first + dt.timedelta(days=i), slip(first + dt.timedelta(days=i)), values)
            for i in range(count)
        ]
        with self.open() as store, store.writer() as connection:
            connection.execute(sa.insert(daily), rows)

    def quiet(self, *fans: str) -> None:
        """Write five quiet weeks up to the week's end and one after it."""
        for fan in fans:
            self.days(fan, WEEK.first - dt.timedelta(days=28), WEEK.last + dt.timedelta(days=7))

    def episode(self, fan: str, kind: str, opened: dt.date, **values: Any) -> int:
        row = {
            "fan": fan,
            "kind": kind,
            "topic": {"belt_slip": "slip past its limit", "drive_lost": "drive lost"}.get(
                kind, "no drive fault"
            ),
            "level": "watch",
            "opened_on": opened,
            "opened_at": dt.datetime.combine(opened, dt.time(23), tzinfo=dt.UTC),
            "act_on": None,
            "cause": "belt_slip",
            "cause_share": 0.97,
            "closed_on": None,
            "closed_by": None,
            "value_pct": 3.5,
            "message": "said at opening",
        }
        with self.open() as store, store.writer() as connection:
            named = {name: row[name] for name in ("fan", "kind", "topic", "opened_on")}
            made = connection.execute(sa.insert(alerts).values(**named, written_at=row["opened_at"]))
            alert_id = made.inserted_primary_key[0]
            connection.execute(sa.insert(episodes), [{**row, "alert_id": alert_id, **values}])
        return int(alert_id)

    def digest(self, week: Week = WEEK) -> Digest:
        with self.open() as store:
            return weekly_digest(self.site, store, week)


def _row(fan: str, date: dt.date, slip: float, values: dict[str, Any]) -> dict[str, Any]:
    numbers: dict[str, float | None] = dict.fromkeys(NUMBERS, 0.0)
    for name in ("slip", "slip_ref"):
        numbers |= {f"{name}_pct": slip, f"{name}_low_pct": slip - 0.7, f"{name}_high_pct": slip + 0.8}
    numbers |= {"slip_change_pct": slip - 1.0, "drive_loss_pct": 9.0 + slip, "excess_kw": 0.05 * slip}
    base = {
        "fan": fan,
        "date": date,
        "hours": 10.0,
        "hours_used": 9,
        "cause": "none" if slip < 3.0 else "belt_slip",
        "cause_share": 0.97,
        "note": "",
        "is_healthy_period": False,
        "shares": None,
        "last_reading": dt.datetime.combine(date, dt.time(12), tzinfo=dt.UTC),
        "digest": "0" * 64,
    }
    return {**base, **numbers, **values}


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path)
