"""The alerts that are open, with their numbers and who has them in hand."""

import datetime as dt
from dataclasses import dataclass

import sqlalchemy as sa

from analytics.vocabulary import Cause
from service.store.alert_tables import alerts
from service.store.handling import Handling, Mark, history, marks
from service.store.ledger_tables import episodes
from service.store.store import Store
from service.words import about


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An open alert by its number; `mark` what people last said of it, None where nobody did."""

    number: int
    fan: str
    kind: str
    level: str
    about: str
    opened_on: dt.date
    message: str
    mark: Mark | None

    @property
    def handling(self) -> str:
        """How far people are with it, in words."""
        if self.mark is None or self.mark.handling is Handling.UNTOUCHED:
            return Handling.UNTOUCHED.value
        until = f" until {self.mark.until}" if self.mark.until else ""
        return f"{self.mark.handling.value}{until}, {self.mark.who}"


def open_alerts(store: Store, fan: str | None = None) -> list[OpenAlert]:
    """Return the open alerts of all fans or of one, the oldest first."""
    query = sa.select(episodes).where(episodes.c.closed_on.is_(None))
    if fan is not None:
        query = query.where(episodes.c.fan == fan)
    with store.reader() as connection:
        rows = connection.execute(query.order_by(episodes.c.opened_at, episodes.c.alert_id)).all()
        said = marks(connection, [row.alert_id for row in rows])
    return [
        OpenAlert(
            row.alert_id,
            row.fan,
            row.kind,
            row.level,
            about(row.topic, Cause(row.cause), [Cause(cause) for cause in row.alike]),
            row.opened_on,
            row.message,
            said.get(row.alert_id),
        )
        for row in rows
    ]


def history_of(store: Store, number: int) -> list[str]:
    """Return whose alert it is and a line a change, in plant time; nothing where there is no such alert."""
    with store.reader() as connection:
        rows = history(connection, [number])[number]
        whose = connection.execute(sa.select(alerts).where(alerts.c.id == number)).one_or_none()
    if whose is None:
        return []
    lines = [f"Alert {number}, {whose.fan}: {whose.kind.replace('_', ' ')}, opened {whose.opened_on}"]
    for row in rows:
        became = row["true_from"].astimezone(store.zone)
        moved = f"{row['old']} -> {row['new']}" if row["old"] else row["new"]
        until = f" until {row['until']}" if row["until"] else ""
        why = f" ({row['why']})" if row["why"] else ""
        lines.append(f"{became:%Y-%m-%d %H:%M}  {row['aspect']}: {moved}{until}, by {row['who']}{why}")
    return lines
