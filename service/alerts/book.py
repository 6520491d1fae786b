"""Bring the alert episodes up to date with the ledger."""

from collections.abc import Iterable, Sequence
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


def keep_alerts(site: SiteFolder, store: Store, fans: Iterable[str] | None = None) -> None:
    """Find the episodes of some fans (default: all) again and write them where they changed."""
    for fan in site.fan_names if fans is None else fans:
        found = fan_episodes(site, store, fan)
        rows = [_row(fan, episode) for episode in found]
        columns = [column for column in episodes_table.c if column.name != "id"]
        query = sa.select(*columns).where(episodes_table.c.fan == fan).order_by(episodes_table.c.id)
        with store.reader() as connection:
            held = [dict(row._mapping) for row in connection.execute(query)]
        if held == rows:
            continue
        with store.writer() as connection:
            connection.execute(sa.delete(episodes_table).where(episodes_table.c.fan == fan))
            if rows:
                connection.execute(sa.insert(episodes_table), rows)
    with store.writer() as connection:
        connection.execute(sa.delete(episodes_table).where(episodes_table.c.fan.not_in(site.fan_names)))


def fan_episodes(site: SiteFolder, store: Store, fan: str) -> tuple[Episode, ...]:
    """Return one fan's episodes as its ledger and findings now show them."""
    with store.reader() as connection:
        rows = connection.execute(sa.select(daily).where(daily.c.fan == fan).order_by(daily.c.date)).all()
        changes = connection.execute(
            sa.select(findings).where(findings.c.fan == fan).order_by(findings.c.hour)
        ).all()
    days = [_day(site, row) for row in rows]
    services = [Service(entry.date, entry.work, entry.role) for entry in site.service if entry.fan == fan]
    return episodes(days, _events(changes), services)


def _day(site: SiteFolder, row: Any) -> JudgedDay:
    epoch = site.epoch_at(row.fan, row.date) or site.epochs(row.fan)[0]
    cause = Cause(row.cause)
    return JudgedDay(
        date=row.date,
        is_judged=cause not in (Cause.NOT_JUDGED, Cause.DRIVE_LOST),
        is_healthy_period=row.is_healthy_period,
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
