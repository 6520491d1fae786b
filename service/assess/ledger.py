"""Bring every fan's daily ledger up to date, and only where something it was made of changed."""

import datetime as dt
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa
from threadpoolctl import threadpool_limits

from config.folder import SiteFolder
from service.assess.fan_hours import FleetReadings, begins_of_fans, ends_of, midnight, site_hours
from service.assess.findings import lost_spans, renewed_findings, stored_findings
from service.assess.held_hours import held_fleet_hours
from service.assess.hours_upkeep import keep_hours
from service.assess.index import complete_days, last_reading, read_index, read_index_since_judged
from service.assess.judge import LOCAL_HOUR, judge
from service.assess.lanes import (
    LEAST_HOURS_RUNNING,
    Lane,
    Learned,
    are_in_one_block,
    lanes,
    later_lanes,
)
from service.assess.learning import held_curves, learn, learned_before
from service.assess.pairs import write_pairs
from service.assess.periods import IndexedDay
from service.assess.settled import Settled, made_of, read_settled, settled_at, write_settled
from service.assess.workers import Piece, Workers, workers_of
from service.store import faults
from service.store.ledger_tables import curves as curves_table
from service.store.ledger_tables import (
    daily,
    fan_days,
    findings,
    hours_made,
    settled_days,
    tachometer_pairs,
    watched_days,
)
from service.store.loads import renew_loads
from service.store.store import Store
from service.store.tables_read import TablesRead

_BATCH: Final = 48
_DAY: Final = dt.timedelta(days=1)
_HOUR: Final = dt.timedelta(hours=1)
_RECENT_DAYS: Final = 21


@dataclass(frozen=True, slots=True)
class _Due:
    """What of a fan is to be done: its lanes, and from which day rows and findings are written again.

    `restart` is None where no row changed; findings are looked for again from `begin`; `settled` what will
    need no second look then, None where all does.
    """

    fan: str
    learned: Sequence[Learned]
    lanes: Sequence[Lane]
    restart: dt.date | None
    begin: dt.date
    is_proof_seen_before: bool
    settled: Settled | None

    @property
    def reads_from(self) -> dt.date:
        """The first day whose hours are needed."""
        return min([lane.days[0].date for lane in self.lanes] + [self.begin])


@dataclass(frozen=True, slots=True)
class _Batch:
    """What of some fans is to be done, and their findings as stored.

    `has_days` the fans that have any day to read; `cut` those with readings after the instant assessed to.
    """

    due: Sequence[_Due]
    held: Mapping[str, Sequence[dict[str, Any]]]
    has_days: Sequence[str]
    cut: Sequence[str]

    @property
    def size(self) -> float:
        """How many fan-days are judged."""
        return float(sum(len(lane.days) for one in self.due for lane in one.lanes))


@dataclass(frozen=True, slots=True)
class _Told:
    """What a batch comes to, each by fan: findings, rows of the ledger, tachometer pairs as taken."""

    findings: Mapping[str, list[dict[str, Any]]]
    rows: Mapping[str, list[dict[str, Any]]]
    pairs: Mapping[str, list[dict[str, Any]]]


def assess(site: SiteFolder, store: Store, as_of: dt.datetime | None = None) -> tuple[str, ...]:
    """Bring the ledger up to date as of an instant (default: the last reading) and name the fans that moved.

    Rows after `as_of` are taken back: the ledger is what would have been known then.
    """
    # The matrices are small: threads of the linear algebra only wait for each other.
    with (
        store.working("assess"),
        threadpool_limits(limits=1),
        workers_of(site.site.assess) as workers,
    ):
        return _assessed(site, store, as_of, workers)


def _assessed(site: SiteFolder, store: Store, as_of: dt.datetime | None, workers: Workers) -> tuple[str, ...]:
    keep_hours(site, store, workers)
    _forget_unknown_fans(site, store)
    now = last_reading(site, store) if as_of is None else as_of
    if now is None:
        return ()
    moved: list[str] = []
    planned: deque[_Batch] = deque()
    for told in workers.in_order(_judged, _pieces(site, store, now, workers, planned)):
        store.reached(faults.BATCH_JUDGED)
        moved += _write_batch(store, planned.popleft(), told)
        store.reached(faults.BATCH_ASSESSED)
    renew_loads(site, store, now)
    return tuple(moved)


def _forget_unknown_fans(site: SiteFolder, store: Store) -> None:
    of_fans = (
        daily,
        tachometer_pairs,
        findings,
        curves_table,
        fan_days,
        hours_made,
        settled_days,
        watched_days,
    )
    with store.writer() as connection:
        for table in of_fans:
            connection.execute(sa.delete(table).where(table.c.fan.not_in(site.fan_names)))


def _pieces(
    site: SiteFolder, store: Store, now: dt.datetime, workers: Workers, planned: deque[_Batch]
) -> Iterator[Piece]:
    """Yield the work of each batch of fans, and note the batch as due to be written."""
    tables = store.tables()
    for start in range(0, len(site.fan_names), _BATCH):
        batch = _planned(site, store, site.fan_names[start : start + _BATCH], now, workers)
        planned.append(batch)
        yield Piece((tables, site.of_fans(batch.held), batch, now), batch.size)


def _planned(
    site: SiteFolder, store: Store, fans: Sequence[str], now: dt.datetime, workers: Workers
) -> _Batch:
    settled, learned = _settled(site, store, fans, now)
    rest = [fan for fan in fans if fan not in settled]
    index = read_index(store, rest) | read_index_since_judged(store, list(settled))
    complete = {fan: complete_days(site, index[fan], now) for fan in fans}
    learned |= learn(site, store, {fan: complete[fan] for fan in rest}, now, workers)
    with store.reader() as connection:
        due = [
            _due(connection, site, learned[fan], index[fan], complete[fan], fan, settled.get(fan), now)
            for fan in fans
        ]
        held = stored_findings(connection, fans)
    has_days = [one.fan for one in due if any(day.date >= one.reads_from for day in index[one.fan])]
    cut = [fan for fan in sorted(has_days) if index[fan][-1].last_reading > now]
    return _Batch(due, held, has_days, cut)


def _settled(
    site: SiteFolder, store: Store, fans: Sequence[str], now: dt.datetime
) -> tuple[dict[str, Settled], dict[str, list[Learned]]]:
    """Return what needs no second look, of the fans of which anything does not, with their healthy curves."""
    known = read_settled(store, fans, now)
    held = held_curves(store, list(known))
    learned = {fan: learned_before(site, fan, held) for fan in known}
    good = {
        fan: one
        for fan, one in known.items()
        if learned[fan]
        and one.made_of == made_of(site, fan, learned[fan])
        and (one.row["state"] is not None or _carries_nothing(site, fan, learned[fan][-1]))
    }
    return good, {fan: learned[fan] for fan in good}


def _carries_nothing(site: SiteFolder, fan: str, learned: Learned) -> bool:
    """Tell whether no day of a fan leaves anything to the next: none can be judged, no work waits for one."""
    if learned.curves is None:
        return True
    return not learned.sight.is_judged and not site.entries(fan) and len(site.epochs(fan)) == 1


def _judged(tables: TablesRead, site: SiteFolder, batch: _Batch, now: dt.datetime) -> _Told:
    """Judge a batch; nothing is written."""
    hours = _hours_to_now(site, tables, batch, now)
    found = {
        one.fan: renewed_findings(
            one.fan,
            one.learned,
            hours.get(one.fan),
            batch.held[one.fan],
            one.begin,
            one.is_proof_seen_before,
        )
        for one in batch.due
    }
    lost = {fan: lost_spans(rows) for fan, rows in found.items()}
    rows = judge([lane for one in batch.due for lane in one.lanes], hours, lost)
    pairs = {one.fan: [row for lane in one.lanes for row in lane.pairs.rows] for one in batch.due}
    return _Told(found, rows, pairs)


def _write_batch(store: Store, batch: _Batch, told: _Told) -> list[str]:
    moved = []
    with store.writer() as connection:
        for one in batch.due:
            has_new_findings = told.findings[one.fan] != batch.held[one.fan]
            if has_new_findings:
                _write_findings(connection, one.fan, told.findings[one.fan])
            if one.restart is not None:
                _write_rows(connection, one.fan, one.restart, told.rows.get(one.fan, []))
                write_pairs(connection, one.fan, one.restart, told.pairs[one.fan])
            if has_new_findings or one.restart is not None:
                moved.append(one.fan)
        found = [one.settled for one in batch.due if one.settled is not None]
        write_settled(connection, [one.fan for one in batch.due], found)
    return moved


def _due(
    connection: sa.Connection,
    site: SiteFolder,
    learned: Sequence[Learned],
    index: Sequence[IndexedDay],
    complete: Sequence[IndexedDay],
    fan: str,
    before: Settled | None,
    now: dt.datetime,
) -> _Due:
    """Plan a fan; `before`, where it is settled, what is known of the days that `index` does not reach."""
    operating = [day for day in complete if day.hours_running >= LEAST_HOURS_RUNNING]
    if before is None:
        planned = lanes(connection, site, fan, learned, operating)
    else:
        planned = later_lanes(connection, site, fan, learned, operating, before.row, before.served)
    # Days that are not over have findings but no rows; they are looked at again every time.
    today = now.astimezone(site.site.zone).date()
    over = {day.date for day in complete}
    open_days = [day.date for day in index if day.date <= today and day.date not in over]
    after = max(over, default=today - _DAY) + _DAY
    begin = min([after, *open_days, *([] if planned.restart is None else [planned.restart])])
    is_seen = before is not None and before.is_proof_seen
    is_proof_seen = is_seen or any(day.is_proof_seen for day in index if day.date < begin)
    settled = None
    if (date := settled_at(site, fan, learned, index, complete, planned.last)) is not None:
        is_seen |= any(day.is_proof_seen for day in index if day.date <= date)
        facts = made_of(site, fan, learned) if before is None else before.made_of
        settled = Settled(fan, date, now, facts, planned.served, is_seen)
    return _Due(fan, learned, planned.lanes, planned.restart, begin, is_proof_seen, settled)


def _hours_to_now(
    site: SiteFolder, tables: TablesRead, batch: _Batch, now: dt.datetime
) -> dict[str, pd.DataFrame]:
    """Return each fan's operating points from the first day it needs to `now` and no further."""
    wanted = {one.fan: one.reads_from for one in batch.due}
    recent = now.astimezone(site.site.zone).date() - _RECENT_DAYS * _DAY
    hours: dict[str, pd.DataFrame] = {}
    # Most nights every fan needs a day or two; one that needs its history must not make all read theirs.
    for is_recent in (True, False):
        fans = [fan for fan in batch.has_days if (wanted[fan] >= recent) is is_recent]
        if not fans:
            continue
        start = min(wanted[fan] for fan in fans)
        frame = tables.hours.read(sorted(fans), midnight(site, start), now + dt.timedelta(microseconds=1))
        frame[LOCAL_HOUR] = frame["time"].dt.tz_convert(site.site.zone).dt.hour
        begins = begins_of_fans(frame)
        for begin, end in zip(begins, ends_of(begins, len(frame)), strict=True):
            hours[str(frame["fan"].iloc[begin])] = frame.iloc[begin:end].reset_index(drop=True)
    return hours | _cut_short(site, tables, batch.cut, hours, now)


def _cut_short(
    site: SiteFolder,
    tables: TablesRead,
    fans: Sequence[str],
    hours: Mapping[str, pd.DataFrame],
    now: dt.datetime,
) -> dict[str, pd.DataFrame]:
    # The hour under way at `now` holds later readings in the table; it is made again without them.
    if not fans:
        return {}
    start = midnight(site, now.astimezone(site.site.zone).date())
    end = now + dt.timedelta(microseconds=1)
    readings = FleetReadings.of(tables.read_readings([*fans], start - _HOUR, end), site.site.zone)
    made = held_fleet_hours(site, tables, readings, start, site_hours(site, tables, start, end))
    made[LOCAL_HOUR] = made["time"].dt.tz_convert(site.site.zone).dt.hour
    told: dict[str, pd.DataFrame] = {}
    for fan, points in made.groupby("fan", sort=True):
        if fan not in hours:
            continue
        last, before = points.iloc[-1:], hours[str(fan)]
        before = before[before["time"] < last["time"].iloc[0]]
        told[str(fan)] = pd.concat([before, last[before.columns]], ignore_index=True)
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
    for table in (daily, watched_days):
        connection.execute(sa.delete(table).where(table.c.fan == fan, table.c.date >= restart))
    if rows:
        connection.execute(sa.insert(daily), rows)
    if last is not None and rows and are_in_one_block(last, rows[0]["date"]):
        was_last = (daily.c.fan == fan) & (daily.c.date == last)
        connection.execute(sa.update(daily).where(was_last).values(state=None))
