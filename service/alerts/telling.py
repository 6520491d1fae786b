"""Decide, in the transaction that changes the alerts, what is told at once; each thing once."""

import datetime as dt
from collections.abc import Iterable, Sequence

import sqlalchemy as sa

from config.folder import SiteFolder
from service.alerts.changes import Change, state_of
from service.alerts.common_cause import Common, What, common_causes
from service.alerts.identity import Row
from service.alerts.notices import act_notice, common_notice, taken_back_notice
from service.notices import Notice, rows_for
from service.store.alert_tables import alerts
from service.store.alert_tables import common_causes as common_table
from service.store.handling import marks
from service.store.ledger_tables import daily, episodes
from service.store.mail_tables import outbox
from service.store.outbox import write_once


def tell(connection: sa.Connection, site: SiteFolder, changes: Sequence[Change], now: dt.datetime) -> None:
    """Write the outbox rows that some changes call for: one an alert, or one for all that share a cause."""
    shared = _floods(connection, site, changes)
    for common, words in shared:
        _tell_common(connection, site, common, words, now)
    covered = {(fan, common.date) for common, _ in shared for fan in common.fans}
    alone = [
        (change, change.new)
        for change in changes
        if change.new is not None
        and change.rises_to_act
        and not {(change.fan, day) for day in _days(change.new)} & covered
        and not _is_in_hand(connection, site, change, change.new, now)
        and not _is_told(connection, change)
        and not _is_told_today(connection, change, change.new)
    ]
    today = now.astimezone(site.site.zone).date()
    together = common_causes(site, What.TOGETHER, ((change.fan, today) for change, _ in alone))
    for common in together:
        words = {change.fan: row["message"] for change, row in alone}
        _tell_common(connection, site, common, words, now)
    named = {fan for common in together for fan in common.fans}
    for change, row in alone:
        if change.fan in named:
            mark_told(connection, [change.alert_id], now)
        else:
            _write(
                connection,
                site,
                act_notice(site, change, row, _latest(connection, change.fan)),
                [change.alert_id],
                now,
            )
    for change in changes:
        if change.new is not None and change.is_taken_back and _was_told_at_once(connection, change):
            _write(connection, site, taken_back_notice(site, change, change.new), [], now)


def _days(row: Row) -> set[dt.date]:
    return {row["opened_on"], *([row["act_on"]] if row["act_on"] is not None else [])}


def _floods(
    connection: sa.Connection, site: SiteFolder, changes: Sequence[Change]
) -> list[tuple[Common, dict[str, str]]]:
    """Return the common causes of the days on which something opened or rose now, with what each fan has."""
    moved = [change for change in changes if change.new is not None and _is_worse(change)]
    dates = {date for change in moved if change.new is not None for date in _days(change.new)}
    if not dates:
        return []
    is_of_day = episodes.c.opened_on.in_(dates) | episodes.c.act_on.in_(dates)
    query = sa.select(episodes).where(episodes.c.closed_on.is_(None), is_of_day)
    seen: set[tuple[str, dt.date]] = set()
    words: dict[tuple[str, dt.date], str] = {}
    for row in connection.execute(query):
        for date in _days(dict(row._mapping)) & dates:
            seen.add((row.fan, date))
            words[row.fan, date] = row.message
    return [
        (common, {fan: words[fan, common.date] for fan in common.fans})
        for common in common_causes(site, What.ALERTS, seen)
    ]


def _is_worse(change: Change) -> bool:
    is_open = state_of(change.new) in ("watch", "act")
    return is_open and (state_of(change.old) not in ("watch", "act") or change.rises_to_act)


def _tell_common(
    connection: sa.Connection, site: SiteFolder, common: Common, words: dict[str, str], now: dt.datetime
) -> None:
    key = {"place": common.place, "what": common.what.value, "date": common.date}
    is_same = sa.and_(*(common_table.c[name] == value for name, value in key.items()))
    if connection.execute(sa.select(common_table.c.id).where(is_same)).first() is not None:
        return
    values = {**key, "fans": list(common.fans), "watched": common.watched, "written_at": now}
    connection.execute(sa.insert(common_table).values(**values))
    is_theirs = episodes.c.fan.in_(common.fans) & episodes.c.closed_on.is_(None)
    told = list(connection.execute(sa.select(episodes.c.alert_id).where(is_theirs)).scalars())
    _write(connection, site, common_notice(site, common, words), told, now)


def tell_of_places(
    connection: sa.Connection,
    site: SiteFolder,
    found: Iterable[Common],
    words: dict[str, str],
    now: dt.datetime,
) -> None:
    """Write the notices of what is no alert: fans that share a silence or a clock."""
    for common in found:
        _tell_common(connection, site, common, words, now)


def _write(
    connection: sa.Connection, site: SiteFolder, notice: Notice, alert_ids: Sequence[int], now: dt.datetime
) -> None:
    rows = rows_for(site, notice, now)
    if rows and write_once(connection, rows):
        mark_told(connection, alert_ids, now)


def _latest(connection: sa.Connection, fan: str) -> Row | None:
    """Return the last row of a fan's ledger that has values."""
    columns = [column for column in daily.c if column.name != "state"]
    is_valued = (daily.c.fan == fan) & daily.c.slip_ref_pct.is_not(None) & daily.c.drag_ref_pct.is_not(None)
    found = connection.execute(
        sa.select(*columns).where(is_valued).order_by(daily.c.date.desc()).limit(1)
    ).first()
    return None if found is None else dict(found._mapping)


def mark_told(connection: sa.Connection, alert_ids: Sequence[int], now: dt.datetime) -> None:
    """Note when somebody was first told of some alerts."""
    is_new = alerts.c.id.in_(alert_ids) & alerts.c.told_at.is_(None)
    connection.execute(sa.update(alerts).where(is_new).values(told_at=now))


def _is_in_hand(
    connection: sa.Connection, site: SiteFolder, change: Change, row: Row, now: dt.datetime
) -> bool:
    mark = marks(connection, [change.alert_id]).get(change.alert_id)
    if mark is None:
        return False
    zone = site.site.zone
    return mark.holds(now.astimezone(zone).date(), mark.true_from.astimezone(zone).date(), row["act_on"])


def _is_told(connection: sa.Connection, change: Change) -> bool:
    """Tell whether an alert was told at once before: the ledger may have been brought back meanwhile."""
    is_back = alerts.c.told_at.is_not(None) if change.old is None else sa.false()
    was_sent = outbox.c.occasion == _occasion(change)
    if connection.execute(sa.select(outbox.c.id).where(was_sent)).first() is not None:
        return True
    query = sa.select(alerts.c.id).where(alerts.c.id == change.alert_id, is_back)
    return connection.execute(query).first() is not None


def _occasion(change: Change) -> str:
    return f"alert:{change.alert_id}:act"


def _is_told_today(connection: sa.Connection, change: Change, row: Row) -> bool:
    """Tell whether the same finding of the same fan and day has been told: one that flickers is told once."""
    same = [alerts.c[name] == row[name] for name in ("fan", "kind", "topic", "opened_on")]
    query = sa.select(alerts.c.id).where(*same, alerts.c.id != change.alert_id, alerts.c.told_at.is_not(None))
    return connection.execute(query).first() is not None


def _was_told_at_once(connection: sa.Connection, change: Change) -> bool:
    is_taken_back_now = not (change.old is not None and state_of(change.old) == "taken back")
    query = sa.select(outbox.c.id).where(outbox.c.occasion == _occasion(change))
    return is_taken_back_now and connection.execute(query).first() is not None
