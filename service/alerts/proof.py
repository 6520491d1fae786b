"""Whether service done because of an alert shows in the data: a row of history at each new verdict."""

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

import sqlalchemy as sa

from analytics.recovery import FOLLOWED_DAYS
from analytics.vocabulary import AlertKind, ClosedBy
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.alerts.changes import day_end
from service.alerts.identity import Row
from service.store.alert_tables import alert_history
from service.store.handling import DATA, Aspect
from service.store.ledger_tables import daily, episodes
from service.store.service_verdict import ServiceVerdict, is_of_drive, service_verdict
from service.words import plain_date

_BEFORE: Final = dt.timedelta(days=30)
_FOLLOWED: Final = dt.timedelta(days=FOLLOWED_DAYS)
_COLUMNS: Final = ("date", "cause", "is_healthy_period", "slip_ref_pct", "drag_ref_pct")


def write_proof(connection: sa.Connection, site: SiteFolder, now: dt.datetime) -> None:
    """Judge the latest work done since each alert opened; write the verdict where it is new."""
    fans = {entry.fan for entry in site.service}
    said = _said(connection)
    is_kept = sa.or_(episodes.c.closed_by.is_(None), episodes.c.closed_by != ClosedBy.DATA_CHANGED.value)
    query = sa.select(episodes).where(episodes.c.fan.in_(fans), is_kept).order_by(episodes.c.id)
    by_fan: dict[str, list[Row]] = {}
    for found in connection.execute(query):
        by_fan.setdefault(found.fan, []).append(dict(found._mapping))
    last = sa.select(daily.c.fan, sa.func.max(daily.c.date).label("date")).group_by(daily.c.fan)
    last_days = {row.fan: row.date for row in connection.execute(last)}
    rows = [
        row
        for fan, alerts in by_fan.items()
        if fan in last_days
        for row in _new_verdicts(connection, site, alerts, last_days[fan], said)
    ]
    if rows:
        connection.execute(sa.insert(alert_history), [{**row, "written_at": now} for row in rows])


def _new_verdicts(
    connection: sa.Connection, site: SiteFolder, alerts: list[Row], last_day: dt.date, said: dict[int, str]
) -> Iterator[Row]:
    """Yield a history row for each alert of a fan whose latest work is judged otherwise than last said."""
    for alert in alerts:
        before = said.get(alert["alert_id"], "")
        work = _work_on(site, alert, last_day)
        # Later days tell nothing new of it.
        if work is None or (before and last_day - work.date > 2 * _FOLLOWED):
            continue
        verdict = _verdict(connection, site, work, alerts, last_day)
        new = "" if verdict is None else f"{_done(work)}: {verdict.words}"
        if verdict is not None and new != before:
            yield {
                "alert_id": alert["alert_id"],
                "aspect": Aspect.PROOF.value,
                "old": before,
                "new": new,
                "true_from": day_end(last_day, site.site.zone),
                "why": verdict.rests_on,
                "who": DATA,
                "until": None,
            }


def _said(connection: sa.Connection) -> dict[int, str]:
    query = sa.select(alert_history.c.alert_id, alert_history.c.new).order_by(alert_history.c.id)
    rows = connection.execute(query.where(alert_history.c.aspect == Aspect.PROOF.value))
    return {row.alert_id: row.new for row in rows}


def _work_on(site: SiteFolder, alert: Row, last_day: dt.date) -> ServiceEntry | None:
    """Return the latest work that may have ended an alert."""
    last = min(last_day, alert["closed_on"] or last_day)
    is_drive = alert["kind"] != AlertKind.NOTICE.value
    done = [
        entry
        for entry in site.entries(alert["fan"])
        if alert["opened_on"] <= entry.date <= last
        and is_of_drive(entry, site.epoch_at(entry.fan, entry.date) or site.epochs(entry.fan)[0]) is is_drive
    ]
    return max(done, key=lambda entry: (entry.date, entry.time or dt.time()), default=None)


def _verdict(
    connection: sa.Connection, site: SiteFolder, work: ServiceEntry, alerts: list[Row], day: dt.date
) -> ServiceVerdict | None:
    is_near = daily.c.date.between(work.date - _BEFORE, day)
    columns = [daily.c[name] for name in _COLUMNS]
    query = sa.select(*columns).where(daily.c.fan == work.fan, is_near).order_by(daily.c.date)
    rows: list[dict[str, Any]] = [dict(row._mapping) for row in connection.execute(query)]
    epoch = site.epoch_at(work.fan, day) or site.epochs(work.fan)[0]
    later = [entry for entry in site.entries(work.fan) if entry.date > work.date]
    found = service_verdict(work, epoch, rows, alerts, day, later)
    return found if found is not None and found.is_news else None


def _done(work: ServiceEntry) -> str:
    return f"{work.work.value.replace('_', ' ')} on {plain_date(work.date)}"
