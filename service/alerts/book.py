"""Bring the alert episodes up to date with the ledger."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa
from threadpoolctl import threadpool_limits

from analytics.episode import Episode, Event, JudgedDay, Service
from analytics.episodes import episodes, in_order
from analytics.ledger import CAUSE_OF, NAMED_CAUSES, likeliest_fault, verdict
from analytics.new_normal import normal_from_json
from analytics.vocabulary import Cause
from config.folder import SiteFolder
from service.alerts.changes import Change, write_history
from service.alerts.identity import Row, matched
from service.alerts.memory import Book, new_alert, read_book, taken_back
from service.alerts.messages import message
from service.alerts.people import lapse_marks
from service.alerts.proof import write_proof
from service.alerts.telling import tell
from service.alerts.watched import NOTHING_KNOWN, Watched, read_watched, watched_until, write_watched
from service.instants import stamp_of
from service.store import faults
from service.store.ledger_tables import daily, findings, watched_days
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
    "shares",
    "slip_innovation",
    "drag_innovation",
    "new_normal",
)
_BATCH: Final = 48


def keep_alerts(site: SiteFolder, store: Store, now: dt.datetime) -> None:
    """Find the episodes of all fans again; write what changed, its history and what people are told of it.

    One transaction, so that no change is without its row and no row without the mail it decides.
    """
    fans = site.fan_names
    found: dict[str, list[Row]] = {}
    # The matrices are small: threads of the linear algebra only wait for each other.
    with threadpool_limits(limits=1):
        for start in range(0, len(fans), _BATCH):
            found |= _episodes(site, store, fans[start : start + _BATCH])
    with store.writer() as connection:
        book = read_book(connection)
        changes = [change for fan in fans for change in _kept(connection, site, book, fan, found[fan], now)]
        changes += [
            _forgotten(connection, row) for fan in book.held if fan not in found for row in book.held[fan]
        ]
        write_history(connection, site, changes, now)
        write_proof(connection, site, now)
        lapse_marks(connection, site, now)
        tell(connection, site, changes, now)
    store.reached(faults.ALERTS_KEPT)


def _kept(
    connection: sa.Connection, site: SiteFolder, book: Book, fan: str, found: list[Row], now: dt.datetime
) -> list[Change]:
    """Write one fan's episodes where they moved and return what changed."""
    held = book.held.get(fan, [])
    linked = [known or book.asleep(row) for known, row in zip(matched(found, held), found, strict=True)]
    before = {row["alert_id"]: row for row in held}
    rows = [
        book.closed_by_people(site, {**episode, "alert_id": known})
        for episode, known in zip(found, linked, strict=True)
    ]
    gone = [row for row in held if row["alert_id"] not in linked]
    rows += [taken_back(row, book.last_days[fan]) for row in gone if book.is_told(row) and book.reaches(row)]
    if [_plain(row) for row in rows] == [_plain(row) for row in held]:
        return []
    connection.execute(sa.delete(episodes_table).where(episodes_table.c.fan == fan))
    changes = []
    for row in rows:
        old = before.pop(row["alert_id"], None)
        if row["alert_id"] is None:
            row["alert_id"] = new_alert(connection, row, now)
        connection.execute(sa.insert(episodes_table), [row])
        if old is None or _plain(old) != _plain(row):
            changes.append(Change(row["alert_id"], fan, old, row))
    dropped = (Change(row["alert_id"], fan, row, None, book.reaches(row)) for row in before.values())
    return [*changes, *dropped]


def _forgotten(connection: sa.Connection, row: Row) -> Change:
    connection.execute(sa.delete(episodes_table).where(episodes_table.c.alert_id == row["alert_id"]))
    return Change(row["alert_id"], row["fan"], row, None)


def _plain(row: Row) -> Row:
    return {name: value for name, value in row.items() if name != "id"}


def _episodes(site: SiteFolder, store: Store, fans: Sequence[str]) -> dict[str, list[Row]]:
    """Return the rows of some fans' episodes as their ledgers and findings now show them."""
    services: dict[str, list[Service]] = {
        fan: [Service(entry.date, entry.work, entry.role) for entry in site.entries(fan)] for fan in fans
    }
    with store.reader() as connection:
        known = read_watched(connection, site, fans)
        days = {
            fan: [*known[fan].healthy, *later] if fan in known else later
            for fan, later in _days(connection, site, fans, known).items()
        }
        changes: dict[str, list[Any]] = {fan: [] for fan in fans}
        changed = sa.select(findings).where(findings.c.fan.in_(fans))
        for row in connection.execute(changed.order_by(findings.c.fan, findings.c.hour)):
            changes[row.fan].append(row)
    again = [
        fan for fan in known if any(day.is_healthy_period for day in days[fan][len(known[fan].healthy) :])
    ]
    if again:
        # Another healthy period bears on every day before it.
        with store.reader() as connection:
            days |= _days(connection, site, again, {})
        known = {fan: one for fan, one in known.items() if fan not in again}
    found: dict[str, list[Row]] = {}
    watched = []
    for fan in fans:
        before = known.get(fan, NOTHING_KNOWN)
        of_days = [*before.episodes, *episodes(days[fan], (), services[fan])]
        told = in_order([*of_days, *episodes((), _events(changes[fan]), services[fan])])
        found[fan] = [_row(fan, episode) for episode in told]
        if (later := watched_until(days[fan], of_days, before)) is not None:
            watched.append((fan, later))
    write_watched(store, site, watched)
    return found


def _days(
    connection: sa.Connection, site: SiteFolder, fans: Sequence[str], known: Mapping[str, Watched]
) -> dict[str, list[JudgedDay]]:
    """Return the days of some fans' ledgers, of those that are known already what comes after."""
    columns = [daily.c[name] for name in _DAY_COLUMNS]
    unknown = sa.select(*columns).where(daily.c.fan.in_([fan for fan in fans if fan not in known]))
    # From the last day that is known on: the day after it asks what that day was learning.
    since = (daily.c.fan == watched_days.c.fan) & (daily.c.date >= watched_days.c.date)
    later = sa.select(*columns).join(watched_days, since).where(watched_days.c.fan.in_([*known]))
    days: dict[str, list[JudgedDay]] = {fan: [] for fan in fans}
    before: Any = None
    for query in (unknown, later):
        for row in connection.execute(query.order_by(daily.c.fan, daily.c.date)):
            is_same = before is not None and before.fan == row.fan
            if row.fan not in known or row.date > known[row.fan].date:
                days[row.fan].append(_day(site, row, before if is_same else None))
            before = row
    return days


def _day(site: SiteFolder, row: Any, before: Any) -> JudgedDay:
    # Before, for the last day of learning has nothing left to learn but shows it still.
    epoch = site.epoch_at(row.fan, row.date) or site.epochs(row.fan)[0]
    cause = Cause(row.cause)
    likeliest = likeliest_fault(row.shares) if row.shares else Cause.UNCLEAR
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
        slip_innovation=_number(row.slip_innovation),
        drag_innovation=_number(row.drag_innovation),
        likeliest=likeliest,
        likeliest_share=row.shares[NAMED_CAUSES.index(likeliest)] if row.shares else 0.0,
        expected=_learned(before) | _learned(row),
        alike=verdict(np.asarray(row.shares))[2][:2] if cause is Cause.UNCLEAR and row.shares else (),
    )


def _learned(row: Any) -> frozenset[Cause]:
    normal = {} if row is None else normal_from_json(row.new_normal)
    return frozenset(CAUSE_OF[parameter] for parameter, change in normal.items() if change.days_left)


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _events(changes: Sequence[Any]) -> list[Event]:
    events: list[Event] = []
    open_at: dict[str, int] = {}
    for change in changes:
        cause, topic = _TOPICS[change.topic]
        if change.is_present:
            open_at[change.topic] = len(events)
            events.append(Event(cause, topic, change.date, change.decided_at, None))
        elif change.topic in open_at:
            place = open_at.pop(change.topic)
            begun = events[place]
            events[place] = Event(cause, topic, begun.date, begun.decided_at, change.date)
    return events


def _row(fan: str, episode: Episode) -> dict[str, Any]:
    return {
        "fan": fan,
        "kind": episode.kind.value,
        "topic": episode.topic,
        "level": episode.level.value,
        "opened_on": episode.opened_on,
        "opened_at": stamp_of(episode.opened_at),
        "act_on": episode.act_on,
        "cause": episode.cause.value,
        "cause_share": episode.cause_share,
        "alike": [cause.value for cause in episode.alike],
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
