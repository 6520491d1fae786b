"""Bring the alert episodes up to date with the ledger."""

from collections.abc import Sequence
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa

from analytics.episodes import Episode, Event, JudgedDay, Service, episodes
from analytics.vocabulary import Cause
from config.folder import SiteFolder
from service.alerts.messages import message
from service.store.ledger_tables import daily, findings
from service.store.ledger_tables import episodes as episodes_table
from service.store.store import Store

COLUMNS: Final = (
    "fan",
    "kind",
    "level",
    "opened_on",
    "opened_at",
    "act_on",
    "cause",
    "cause_share",
    "closed_on",
    "closed_by",
    "message",
)
_TOPICS: Final = {
    "drive_lost": (Cause.DRIVE_LOST, "drive lost"),
    "stopped": (Cause.UNCLEAR, "stopped though commanded"),
    "unfollowed": (Cause.SPEED_NOT_FOLLOWED, "speed not followed"),
}


_DAY_COLUMNS: Final = (
    "fan",
    "date",
    "is_healthy_period",
    "is_awaited",
    "slip_ref_pct",
    "drag_ref_pct",
    "cause",
    "cause_share",
    "last_reading",
)
_BATCH: Final = 48


def keep_alerts(site: SiteFolder, store: Store) -> None:
    """Find the episodes of all fans again and write them where they changed."""
    fans = site.fan_names
    for start in range(0, len(fans), _BATCH):
        batch = fans[start : start + _BATCH]
        found = _episodes(site, store, batch)
        held = _held(store, batch)
        moved = {fan: rows for fan, rows in found.items() if rows != held[fan]}
        if not moved:
            continue
        with store.writer() as connection:
            connection.execute(sa.delete(episodes_table).where(episodes_table.c.fan.in_(list(moved))))
            rows = [row for of_fan in moved.values() for row in of_fan]
            if rows:
                connection.execute(sa.insert(episodes_table), rows)
    with store.writer() as connection:
        connection.execute(sa.delete(episodes_table).where(episodes_table.c.fan.not_in(fans)))


def _held(store: Store, fans: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
    columns = [column for column in episodes_table.c if column.name != "id"]
    query = sa.select(*columns).where(episodes_table.c.fan.in_(fans)).order_by(episodes_table.c.id)
    held: dict[str, list[dict[str, Any]]] = {fan: [] for fan in fans}
    with store.reader() as connection:
        for row in connection.execute(query):
            held[row.fan].append(dict(row._mapping))
    return held


def _episodes(site: SiteFolder, store: Store, fans: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of some fans' episodes as their ledgers and findings now show them."""
    rows = sa.select(*(daily.c[name] for name in _DAY_COLUMNS)).where(daily.c.fan.in_(fans))
    changed = sa.select(findings).where(findings.c.fan.in_(fans))
    days: dict[str, list[JudgedDay]] = {fan: [] for fan in fans}
    changes: dict[str, list[Any]] = {fan: [] for fan in fans}
    with store.reader() as connection:
        for row in connection.execute(rows.order_by(daily.c.fan, daily.c.date)):
            days[row.fan].append(_day(site, row))
        for row in connection.execute(changed.order_by(findings.c.fan, findings.c.hour)):
            changes[row.fan].append(row)
    services: dict[str, list[Service]] = {fan: [] for fan in fans}
    for entry in site.service:
        if entry.fan in services:
            services[entry.fan].append(Service(entry.date, entry.work, entry.role))
    return {
        fan: [_row(fan, episode) for episode in episodes(days[fan], _events(changes[fan]), services[fan])]
        for fan in fans
    }


def _day(site: SiteFolder, row: Any) -> JudgedDay:
    epoch = site.epoch_at(row.fan, row.date) or site.epochs(row.fan)[0]
    cause = Cause(row.cause)
    return JudgedDay(
        date=row.date,
        is_judged=cause not in (Cause.NOT_JUDGED, Cause.DRIVE_LOST),
        is_healthy_period=row.is_healthy_period,
        is_awaited=row.is_awaited,
        slip_ref_pct=_number(row.slip_ref_pct),
        drag_ref_pct=_number(row.drag_ref_pct),
        cause=cause,
        cause_share=1.0 if row.cause_share is None else row.cause_share,
        last_reading=row.last_reading,
        limits=epoch.limits,
        can_slip=epoch.machine.drive.can_slip,
    )


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _events(changes: Sequence[Any]) -> list[Event]:
    events: list[Event] = []
    open_at: dict[str, int] = {}
    for change in changes:
        cause, topic = _TOPICS[change.topic]
        if change.is_present:
            open_at[change.topic] = len(events)
            events.append(Event(cause, topic, change.date, change.decided_at, None, None))
        elif change.topic in open_at:
            place = open_at.pop(change.topic)
            begun = events[place]
            events[place] = Event(cause, topic, begun.date, begun.decided_at, change.decided_at, change.date)
    return events


def _row(fan: str, episode: Episode) -> dict[str, Any]:
    return {
        "fan": fan,
        "kind": episode.kind.value,
        "topic": episode.topic,
        "level": episode.level.value,
        "opened_on": episode.opened_on,
        "opened_at": episode.opened_at,
        "act_on": episode.act_on,
        "cause": episode.cause.value,
        "cause_share": episode.cause_share,
        "closed_on": episode.closed_on,
        "closed_by": None if episode.closed_by is None else episode.closed_by.value,
        "value_pct": None if episode.value_pct != episode.value_pct else episode.value_pct,
        "message": message(episode),
    }


def export_alerts(store: Store, fan: str | None = None) -> pd.DataFrame:
    """Return the episodes, one row an alert, in order of opening."""
    query = sa.select(*(episodes_table.c[name] for name in COLUMNS)).order_by(
        episodes_table.c.opened_at, episodes_table.c.fan, episodes_table.c.id
    )
    if fan is not None:
        query = query.where(episodes_table.c.fan == fan)
    with store.reader() as connection:
        frame = pd.DataFrame(connection.execute(query).all(), columns=list(COLUMNS))
    times = pd.to_datetime(frame["opened_at"], utc=True)
    frame["opened_at"] = [time.strftime("%Y-%m-%dT%H:%M:%SZ") for time in times]
    return frame
