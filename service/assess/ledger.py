"""Bring every fan's daily ledger up to date, and only where something it was made of changed."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa
from threadpoolctl import threadpool_limits

from config.folder import SiteFolder
from service.assess.fan_hours import midnight, site_hours
from service.assess.findings import lost_spans, renewed_findings, stored_findings
from service.assess.held_hours import hours_by_fan
from service.assess.hours_upkeep import keep_hours
from service.assess.index import complete_days, last_reading, read_index
from service.assess.judge import judge
from service.assess.lanes import LEAST_HOURS_RUNNING, Lane, Learned, are_in_one_block, lanes
from service.assess.learning import learn
from service.assess.pairs import write_pairs
from service.assess.periods import IndexedDay
from service.store import faults
from service.store.ledger_tables import curves as curves_table
from service.store.ledger_tables import daily, fan_days, findings, hours_made, tachometer_pairs
from service.store.loads import renew_loads
from service.store.store import Store

_BATCH: Final = 48
_DAY: Final = dt.timedelta(days=1)
_HOUR: Final = dt.timedelta(hours=1)
_RECENT_DAYS: Final = 21


@dataclass(frozen=True, slots=True)
class _Due:
    """What of a fan is to be done: its lanes, and from which day rows and findings are written again.

    `restart` is None where no row changed; findings are looked for again from `begin`.
    """

    fan: str
    learned: Sequence[Learned]
    lanes: Sequence[Lane]
    restart: dt.date | None
    begin: dt.date
    is_proof_seen_before: bool

    @property
    def reads_from(self) -> dt.date:
        """The first day whose hours are needed."""
        return min([lane.days[0].date for lane in self.lanes] + [self.begin])


def assess(site: SiteFolder, store: Store, as_of: dt.datetime | None = None) -> tuple[str, ...]:
    """Bring the ledger up to date as of an instant (default: the last reading) and name the fans that moved.

    Rows after `as_of` are taken back: the ledger is what would have been known then.
    """
    # The matrices are small: threads of the linear algebra only wait for each other.
    with store.working("assess"), threadpool_limits(limits=1):
        return _assessed(site, store, as_of)


def _assessed(site: SiteFolder, store: Store, as_of: dt.datetime | None) -> tuple[str, ...]:
    keep_hours(site, store)
    _forget_unknown_fans(site, store)
    now = last_reading(site, store) if as_of is None else as_of
    if now is None:
        return ()
    moved: list[str] = []
    for start in range(0, len(site.fan_names), _BATCH):
        moved += _assess_batch(site, store, site.fan_names[start : start + _BATCH], now)
    renew_loads(site, store, now)
    return tuple(moved)


def _forget_unknown_fans(site: SiteFolder, store: Store) -> None:
    with store.writer() as connection:
        for table in (daily, tachometer_pairs, findings, curves_table, fan_days, hours_made):
            connection.execute(sa.delete(table).where(table.c.fan.not_in(site.fan_names)))


def _assess_batch(site: SiteFolder, store: Store, fans: Sequence[str], now: dt.datetime) -> list[str]:
    index = read_index(store, fans)
    complete = {fan: complete_days(site, index[fan], now) for fan in fans}
    learned = learn(site, store, complete, now)
    with store.reader() as connection:
        due = [_due(connection, site, fan, learned[fan], index[fan], complete[fan], now) for fan in fans]
        held = stored_findings(connection, fans)
    hours = _hours_to_now(site, store, due, index, now)
    found = {
        one.fan: renewed_findings(
            one.fan, one.learned, hours.get(one.fan), held[one.fan], one.begin, one.is_proof_seen_before
        )
        for one in due
    }
    lost = {fan: lost_spans(rows) for fan, rows in found.items()}
    rows = judge(site, [lane for one in due for lane in one.lanes], hours, lost)
    store.reached(faults.BATCH_JUDGED)
    moved = []
    with store.writer() as connection:
        for one in due:
            if found[one.fan] != held[one.fan]:
                _write_findings(connection, one.fan, found[one.fan])
            if one.restart is not None:
                _write_rows(connection, one.fan, one.restart, rows.get(one.fan, []))
                told = [row for lane in one.lanes for row in lane.pairs.rows]
                write_pairs(connection, one.fan, one.restart, told)
            if found[one.fan] != held[one.fan] or one.restart is not None:
                moved.append(one.fan)
    store.reached(faults.BATCH_ASSESSED)
    return moved


def _due(
    connection: sa.Connection,
    site: SiteFolder,
    fan: str,
    learned: Sequence[Learned],
    index: Sequence[IndexedDay],
    complete: Sequence[IndexedDay],
    now: dt.datetime,
) -> _Due:
    operating = [day for day in complete if day.hours_running >= LEAST_HOURS_RUNNING]
    found, restart = lanes(connection, site, fan, learned, operating)
    # Days that are not over have findings but no rows; they are looked at again every time.
    today = now.astimezone(site.site.zone).date()
    over = {day.date for day in complete}
    open_days = [day.date for day in index if day.date <= today and day.date not in over]
    after = max(over, default=today - _DAY) + _DAY
    begin = min([after, *open_days, *([] if restart is None else [restart])])
    is_proof_seen = any(day.is_proof_seen for day in index if day.date < begin)
    return _Due(fan, learned, found, restart, begin, is_proof_seen)


def _hours_to_now(
    site: SiteFolder,
    store: Store,
    due: Sequence[_Due],
    index: Mapping[str, Sequence[IndexedDay]],
    now: dt.datetime,
) -> dict[str, pd.DataFrame]:
    """Return each fan's operating points from the first day it needs to `now` and no further."""
    wanted = {one.fan: one.reads_from for one in due}
    recent = now.astimezone(site.site.zone).date() - _RECENT_DAYS * _DAY
    has_days = {fan for fan, start in wanted.items() if any(day.date >= start for day in index[fan])}
    hours: dict[str, pd.DataFrame] = {}
    # Most nights every fan needs a day or two; one that needs its history must not make all read theirs.
    for is_recent in (True, False):
        fans = [fan for fan in has_days if (wanted[fan] >= recent) is is_recent]
        if not fans:
            continue
        start = min(wanted[fan] for fan in fans)
        frame = store.hours.read(sorted(fans), midnight(site, start), now + dt.timedelta(microseconds=1))
        hours |= {str(fan): rows.reset_index(drop=True) for fan, rows in frame.groupby("fan", sort=True)}
    cut = [fan for fan in sorted(has_days) if index[fan][-1].last_reading > now]
    return hours | _cut_short(site, store, cut, hours, now)


def _cut_short(
    site: SiteFolder, store: Store, fans: Sequence[str], hours: Mapping[str, pd.DataFrame], now: dt.datetime
) -> dict[str, pd.DataFrame]:
    # The hour under way at `now` holds later readings in the table; it is made again without them.
    if not fans:
        return {}
    start = midnight(site, now.astimezone(site.site.zone).date())
    end = now + dt.timedelta(microseconds=1)
    readings = store.read_readings([*fans], start - _HOUR, end)
    weather = site_hours(site, store, start, end)
    told: dict[str, pd.DataFrame] = {}
    for fan, _, points in hours_by_fan(site, store, readings, start, weather):
        if fan not in hours or points.empty:
            continue
        last, before = points.iloc[-1:], hours[fan]
        before = before[before["time"] < last["time"].iloc[0]]
        told[fan] = pd.concat([before, last[before.columns]], ignore_index=True)
    return told


def _write_findings(connection: sa.Connection, fan: str, rows: Iterable[dict[str, Any]]) -> None:
    connection.execute(sa.delete(findings).where(findings.c.fan == fan))
    written = list(rows)
    if written:
        connection.execute(sa.insert(findings), written)


def _write_rows(connection: sa.Connection, fan: str, restart: dt.date, rows: list[dict[str, Any]]) -> None:
    last = connection.execute(
        sa.select(sa.func.max(daily.c.date)).where(daily.c.fan == fan, daily.c.date < restart)
    ).scalar()
    connection.execute(sa.delete(daily).where(daily.c.fan == fan, daily.c.date >= restart))
    if rows:
        connection.execute(sa.insert(daily), rows)
    if last is not None and rows and are_in_one_block(last, rows[0]["date"]):
        was_last = (daily.c.fan == fan) & (daily.c.date == last)
        connection.execute(sa.update(daily).where(was_last).values(state=None))
