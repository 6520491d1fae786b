"""Bring every fan's daily ledger up to date, and only where something it was made of changed."""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa

from analytics.curves import HealthyCurves, TooLittleHealthyDataError
from analytics.judging import healthy
from config.folder import SiteFolder
from service.assess.findings import LOST, changes, fan_findings
from service.assess.fitted import curves_as_json, curves_from_json
from service.assess.hours_upkeep import fan_hours, keep_hours, midnight, site_hours
from service.assess.judge import judge
from service.assess.lanes import CHECKPOINT_DAYS, LEAST_HOURS_RUNNING, Lane, Learned, lanes
from service.assess.periods import IndexedDay, Stretch, curves_digest, stretches
from service.store.ledger_tables import curves as curves_table
from service.store.ledger_tables import daily, fan_days, findings
from service.store.store import Store

_BATCH: Final = 48
_DAY: Final = dt.timedelta(days=1)
_INTERVAL_ROOM: Final = 1.01


def assess(site: SiteFolder, store: Store, as_of: dt.datetime | None = None) -> tuple[str, ...]:
    """Bring the ledger up to date as of an instant (default: the last reading) and name the fans that moved.

    Rows after `as_of` are taken back: the ledger is what would have been known then.
    """
    keep_hours(site, store)
    span = store.reading_span()
    if span is None:
        return ()
    now = span[1] if as_of is None else as_of
    moved: list[str] = []
    fans = site.fan_names
    for start in range(0, len(fans), _BATCH):
        moved += _assess_batch(site, store, fans[start : start + _BATCH], now)
    with store.writer() as connection:
        for table in (daily, findings, curves_table, fan_days):
            connection.execute(sa.delete(table).where(table.c.fan.not_in(fans)))
    return tuple(moved)


def _assess_batch(site: SiteFolder, store: Store, fans: Sequence[str], now: dt.datetime) -> list[str]:
    index = _index(store, fans)
    complete = {fan: _complete(site, index[fan], now) for fan in fans}
    learned = {fan: _learn(site, store, fan, complete[fan], now) for fan in fans}
    plans: dict[str, tuple[list[Lane], dt.date | None]] = {}
    with store.reader() as connection:
        for fan in fans:
            days = [day for day in complete[fan] if day.hours_running >= LEAST_HOURS_RUNNING]
            plans[fan] = lanes(connection, site, fan, learned[fan], days)
    moved = []
    due = [fan for fan in fans if plans[fan][1] is not None]
    hours = _hours(site, store, due, plans, now)
    for fan in fans:
        if _write_findings(site, store, fan, learned[fan], complete[fan], plans[fan][1], now):
            moved.append(fan)
    lost = {fan: _lost_hours(store, fan) for fan in due}
    rows = judge(site, [lane for fan in due for lane in plans[fan][0]], hours, lost)
    for fan in due:
        restart = plans[fan][1]
        if restart is not None:
            _write_rows(store, fan, restart, [row for row in rows if row["fan"] == fan])
    return sorted(set(moved) | set(due))


def _index(store: Store, fans: Sequence[str]) -> dict[str, list[IndexedDay]]:
    query = sa.select(fan_days).where(fan_days.c.fan.in_(fans)).order_by(fan_days.c.fan, fan_days.c.date)
    found: dict[str, list[IndexedDay]] = {fan: [] for fan in fans}
    with store.reader() as connection:
        for row in connection.execute(query):
            found[row.fan].append(
                IndexedDay(
                    row.date,
                    row.digest,
                    row.hours_running,
                    row.hours_steady,
                    row.interval_s,
                    row.last_reading,
                )
            )
    return found


def _complete(site: SiteFolder, days: Sequence[IndexedDay], now: dt.datetime) -> list[IndexedDay]:
    """Return the days that are over: read to within an interval of midnight, or a day past it."""
    found = []
    for day in days:
        end = midnight(site, day.date + _DAY)
        reached = min(day.last_reading, now)
        is_read = reached >= end - dt.timedelta(seconds=_INTERVAL_ROOM * day.interval_s)
        is_cut = day.last_reading > now
        if (is_read and not is_cut) or now >= end + _DAY:
            found.append(day)
    return found


def _learn(
    site: SiteFolder, store: Store, fan: str, days: Sequence[IndexedDay], now: dt.datetime
) -> list[Learned]:
    complete_to = days[-1].date if days else now.astimezone(site.site.zone).date() - _DAY
    found = []
    for stretch in stretches(site.epochs(fan), days, complete_to):
        digest = curves_digest(stretch, days)
        found.append(_kept(store, stretch, digest) or _fitted(site, store, stretch, digest))
    return found


def _kept(store: Store, stretch: Stretch, digest: str) -> Learned | None:
    query = sa.select(curves_table).where(
        curves_table.c.fan == stretch.fan,
        curves_table.c.epoch == stretch.number,
        curves_table.c.digest == digest,
    )
    with store.reader() as connection:
        row = connection.execute(query).one_or_none()
    if row is None:
        return None
    fitted = None if row.fitted is None else curves_from_json(row.fitted)
    return Learned(stretch, fitted, digest, row.reason or "")


def _fitted(site: SiteFolder, store: Store, stretch: Stretch, digest: str) -> Learned:
    fitted, reason = None, stretch.reason
    if not reason:
        try:
            fitted = _fit(site, store, stretch)
        except TooLittleHealthyDataError as error:
            reason = str(error)
    written = None if fitted is None else curves_as_json(fitted)
    row = {
        "fan": stretch.fan,
        "epoch": stretch.number,
        "digest": digest,
        "first_date": stretch.first,
        "last_date": stretch.last,
        "fitted": written,
        "reason": reason or None,
    }
    with store.writer() as connection:
        which = (curves_table.c.fan == stretch.fan) & (curves_table.c.epoch == stretch.number)
        connection.execute(sa.delete(curves_table).where(which))
        connection.execute(sa.insert(curves_table), [row])
    # Read back what was written, so that a first run and a later one see the same bits.
    return Learned(stretch, None if written is None else curves_from_json(written), digest, reason)


def _fit(site: SiteFolder, store: Store, stretch: Stretch) -> HealthyCurves:
    if stretch.first is None or stretch.last is None:
        raise TooLittleHealthyDataError("there is no healthy period")
    start, end = midnight(site, stretch.first), midnight(site, stretch.last + _DAY)
    hours = store.hours.read([stretch.fan], start, end)
    if hours.empty:
        raise TooLittleHealthyDataError("no readings in the healthy period")
    return healthy(hours, hours["day"].to_numpy(dtype=float), stretch.epoch.machine)


def _hours(
    site: SiteFolder,
    store: Store,
    fans: Sequence[str],
    plans: dict[str, tuple[list[Lane], dt.date | None]],
    now: dt.datetime,
) -> pd.DataFrame:
    dates = [lane.days[0].date for fan in fans for lane in plans[fan][0]]
    start = midnight(site, min(dates)) if dates else now
    return store.hours.read([*fans], start, now + _DAY)


def _write_findings(
    site: SiteFolder,
    store: Store,
    fan: str,
    learned: Sequence[Learned],
    days: Sequence[IndexedDay],
    restart: dt.date | None,
    now: dt.datetime,
) -> bool:
    """Write a fan's findings again from the first changed day to the latest reading; say if any moved."""
    next_day = days[-1].date + _DAY if days else None
    begin = min(date for date in (restart, next_day) if date is not None) if next_day or restart else None
    with store.reader() as connection:
        query = sa.select(findings).where(findings.c.fan == fan).order_by(findings.c.hour)
        stored = [dict(row._mapping) for row in connection.execute(query)]
    kept = [row for row in stored if begin is not None and row["date"] < begin]
    before = {row["topic"]: bool(row["is_present"]) for row in kept}
    rows: list[dict[str, Any]] = []
    for hours in _hours_to_now(site, store, fan, begin, next_day, now):
        found = changes(fan, hours, fan_findings(learned, hours), before)
        before.update({row["topic"]: bool(row["is_present"]) for row in found})
        rows += found
    if [*kept, *rows] == stored:
        return False
    with store.writer() as connection:
        connection.execute(sa.delete(findings).where(findings.c.fan == fan))
        if kept or rows:
            connection.execute(sa.insert(findings), [*kept, *rows])
    return True


def _hours_to_now(
    site: SiteFolder,
    store: Store,
    fan: str,
    begin: dt.date | None,
    next_day: dt.date | None,
    now: dt.datetime,
) -> Iterator[pd.DataFrame]:
    # Whole days come from the table of hours; the day under way is read raw, no further than `now`.
    if begin is not None and next_day is not None and begin < next_day:
        hours = store.hours.read([fan], midnight(site, begin), midnight(site, next_day))
        if not hours.empty:
            yield hours.reset_index(drop=True)
    start = midnight(site, next_day) if next_day is not None else now - 2 * _DAY
    end = now + dt.timedelta(microseconds=1)
    if end <= start:
        return
    readings = store.read_readings([fan], start, end)
    if not readings.empty:
        yield fan_hours(site, fan, readings, site_hours(store, start, end)).reset_index(drop=True)


def _lost_hours(store: Store, fan: str) -> tuple[tuple[dt.datetime, dt.datetime | None], ...]:
    query = (
        sa.select(findings.c.hour, findings.c.is_present)
        .where(findings.c.fan == fan, findings.c.topic == LOST)
        .order_by(findings.c.hour)
    )
    with store.reader() as connection:
        rows = connection.execute(query).all()
    spans: list[tuple[dt.datetime, dt.datetime | None]] = []
    for hour, is_present in rows:
        if is_present:
            spans.append((hour, None))
        elif spans:
            spans[-1] = (spans[-1][0], hour)
    return tuple(spans)


def _write_rows(store: Store, fan: str, restart: dt.date, rows: Sequence[dict[str, Any]]) -> None:
    with store.writer() as connection:
        last = connection.execute(
            sa.select(sa.func.max(daily.c.date)).where(daily.c.fan == fan, daily.c.date < restart)
        ).scalar()
        connection.execute(sa.delete(daily).where(daily.c.fan == fan, daily.c.date >= restart))
        for row in rows[:-1]:
            if row["date"].toordinal() % CHECKPOINT_DAYS != 0:
                row["state"] = None
        if rows:
            connection.execute(sa.insert(daily), list(rows))
        if last is not None and rows and last.toordinal() % CHECKPOINT_DAYS != 0:
            # Only the last row and one in fourteen keep their state, however the ledger was reached.
            was_last = (daily.c.fan == fan) & (daily.c.date == last)
            connection.execute(sa.update(daily).where(was_last).values(state=None))
