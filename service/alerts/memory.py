"""What the store holds of alerts before an assessment: episodes, what people said, who was told."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from analytics.vocabulary import ClosedBy
from config.folder import SiteFolder
from service.alerts.identity import Row
from service.store.alert_tables import alert_history, alerts
from service.store.handling import DATA, Handling, Mark, marks
from service.store.ledger_tables import daily, episodes


@dataclass(frozen=True, slots=True)
class Book:
    """What is held: episodes by fan; the last mark an alert; alerts somebody knows of; last days by fan.

    `sleeping` the alerts that have no episode at present, by fan, kind, topic and day of opening.
    """

    held: dict[str, list[Row]]
    marks: dict[int, Mark]
    known: frozenset[int]
    last_days: dict[str, dt.date]
    sleeping: dict[tuple[str, str, str, dt.date], int]

    def reaches(self, row: Row) -> bool:
        """Tell whether a fan's ledger goes as far as the opening of an alert it no longer shows.

        Assessed as of an earlier day it does not, and then nothing is taken back. What raw readings decide
        opens on the day after the last whole one.
        """
        opened_on: dt.date = row["opened_on"]
        last_day = self.last_days.get(row["fan"])
        return last_day is not None and opened_on <= last_day + dt.timedelta(days=1)

    def asleep(self, row: Row) -> int | None:
        """Return the alert that an episode was before the ledger was brought back to an earlier day."""
        return self.sleeping.get((row["fan"], row["kind"], row["topic"], row["opened_on"]))

    def is_told(self, row: Row) -> bool:
        """Tell whether somebody was told of an alert or has handled it, so that it cannot just vanish."""
        return row["alert_id"] in self.known

    def closed_by_people(self, site: SiteFolder, row: Row) -> Row:
        """Return an episode with what a person closed laid over it; a rise to act after that stays open."""
        mark = self.marks.get(row["alert_id"])
        if mark is None or mark.handling is not Handling.OVER:
            return row
        closed_on = max(row["opened_on"], mark.true_from.astimezone(site.site.zone).date())
        is_over_before = row["closed_on"] is not None and row["closed_on"] <= closed_on
        is_worse_since = row["act_on"] is not None and row["act_on"] > closed_on
        if is_over_before or is_worse_since:
            return row
        return {**row, "closed_on": closed_on, "closed_by": ClosedBy.PERSON.value}


def read_book(connection: sa.Connection) -> Book:
    """Read what is held, in the transaction that will change it."""
    held: dict[str, list[dict[str, Any]]] = {}
    for row in connection.execute(sa.select(episodes).order_by(episodes.c.id)):
        held.setdefault(row.fan, []).append(dict(row._mapping))
    told = sa.select(alerts.c.id).where(alerts.c.told_at.is_not(None))
    touched = sa.select(alert_history.c.alert_id).where(alert_history.c.who != DATA)
    is_asleep = alerts.c.id.not_in(sa.select(episodes.c.alert_id))
    sleeping = connection.execute(sa.select(alerts).where(is_asleep).order_by(alerts.c.id))
    last = sa.select(daily.c.fan, sa.func.max(daily.c.date).label("date")).group_by(daily.c.fan)
    return Book(
        held,
        marks(connection),
        frozenset(connection.execute(sa.union(told, touched)).scalars()),
        {row.fan: row.date for row in connection.execute(last)},
        {(row.fan, row.kind, row.topic, row.opened_on): row.id for row in sleeping},
    )


def new_alert(connection: sa.Connection, episode: Row, now: dt.datetime) -> int:
    """Give an episode an alert of its own and return its id."""
    values = {name: episode[name] for name in ("fan", "kind", "topic", "opened_on")}
    made = connection.execute(sa.insert(alerts).values(**values, written_at=now).returning(alerts.c.id))
    return int(made.scalar_one())


def taken_back(row: Row, last_day: dt.date) -> Row:
    """Return an episode that the data no longer show, closed by that once: people have been told of it."""
    if row["closed_by"] == ClosedBy.DATA_CHANGED.value:
        return row
    return {**row, "closed_on": max(row["opened_on"], last_day), "closed_by": ClosedBy.DATA_CHANGED.value}
