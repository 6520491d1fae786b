"""A site of invented fans in two buildings, its ledger written by hand, and what is kept of its alerts."""

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import sqlalchemy as sa

from service.alerts import export_alerts, keep_alerts
from service.store.alert_tables import alert_history, alerts
from service.store.ledger_tables import daily, fan_days, findings
from service.store.mail_tables import outbox
from tests.service.databases import database_line
from tests.service.mail.conftest import HEAD, Ledger

NOW = dt.datetime(2025, 6, 16, 12, 0, tzinfo=dt.UTC)
FIRST = dt.date(2025, 6, 2)
ALDER, WREN = "Alder Hall", "Wren Library"
MAIL = """
[mail]
from = "Fan Desk <fans@college.example>"
immediate = ["oncall@college.example"]
ask = "controls desk, ext. 4410"
"""


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(days=number)


class Book(Ledger):
    """A site of belt-driven fans: F-1 to F-6 in Alder Hall, F-7 to F-9 in Wren Library."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.tell(MAIL)

    def tell(self, toml: str) -> None:
        """Write who is told."""
        fans = [
            f"F-{n},{ALDER if n < 7 else WREN},Roof,Stair 2,Classrooms,normal,v_belt,7.5,1740,5,8,"
            f"A{n},P{n},I{n},9.4"
            for n in range(1, 10)
        ]
        head = database_line(self.folder) + 'name = "Test College"\ntimezone = "America/Denver"\n'
        (self.folder / "site.toml").write_text(head + toml, encoding="utf-8")
        (self.folder / "fans.csv").write_text(HEAD + "\n".join(fans) + "\n", encoding="utf-8")

    def slips(self, fan: str, *slip_pct: float) -> None:
        """Write a judged day each from the first on, in place of those there are."""
        with self.open() as store, store.writer() as connection:
            connection.execute(sa.delete(daily).where(daily.c.fan == fan))
        by_day = dict(enumerate(slip_pct))
        self.days(fan, FIRST, day(len(slip_pct) - 1), lambda date: by_day[(date - FIRST).days])

    def finds(self, fan: str, topic: str, at: dt.datetime, *, is_present: bool = True) -> None:
        """Write a finding of the raw readings."""
        row = {"fan": fan, "topic": topic, "hour": at, "is_present": is_present, "date": at.date()}
        with self.open() as store, store.writer() as connection:
            connection.execute(sa.insert(findings), [{**row, "decided_at": at}])

    def reads(self, fans: Iterable[str], last: dt.datetime) -> None:
        """Write a day of readings that ends at a time."""
        row = {
            "date": last.date(),
            "digest": "0",
            "hours_running": 5.0,
            "hours_steady": 5,
            "interval_s": 900.0,
        }
        with self.open() as store, store.writer() as connection:
            connection.execute(
                sa.insert(fan_days), [{**row, "fan": fan, "last_reading": last} for fan in fans]
            )

    def keep(self, now: dt.datetime = NOW) -> None:
        with self.open() as store:
            keep_alerts(self.site, store, now)

    def exported(self, fan: str | None = None) -> pd.DataFrame:
        with self.open() as store:
            return export_alerts(store, fan)

    def history(self, fan: str) -> list[Any]:
        query = sa.select(alert_history).join(alerts).where(alerts.c.fan == fan)
        return self.read(query.order_by(alert_history.c.id))

    def states(self, fan: str, aspect: str = "alert") -> list[tuple[str, str]]:
        return [(row.old, row.new) for row in self.history(fan) if row.aspect == aspect]

    def alert_of(self, fan: str) -> int:
        ids = [row.id for row in self.read(sa.select(alerts.c.id).where(alerts.c.fan == fan))]
        assert len(ids) == 1
        return int(ids[0])

    def outbox(self) -> list[Any]:
        return self.read(sa.select(outbox).order_by(outbox.c.id))

    def read(self, query: sa.Select[Any]) -> list[Any]:
        with self.open() as store, store.reader() as connection:
            return list(connection.execute(query))


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book(tmp_path)
