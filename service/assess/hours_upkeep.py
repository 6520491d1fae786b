"""Keep the hourly operating points and the index of fan-days beside the readings, touched days only."""

import datetime as dt
import hashlib
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from config.folder import SiteFolder
from service.assess.fan_hours import FleetReadings, ends_of, midnight, site_hours
from service.assess.held_hours import held_fleet_hours
from service.assess.workers import Piece, Workers, alone
from service.store import faults
from service.store.columns import SITE_FAN
from service.store.ledger_tables import fan_days, hour_marks, hours_made, settled_days
from service.store.readings import from_microseconds, in_microseconds
from service.store.store import Store
from service.store.tables_read import TablesRead

HOURS_VERSION: Final = 6
# A batch holds a quarter of twenty fans, a year of five that are all there are, or a night of hundreds.
_BATCH_FAN_DAYS: Final = 2000
# Fans before days: a file holds a month of all fans, and a batch takes few of them for as many rows.
_BATCH_DAYS: Final = 92
# What of a month's readings is unpacked to find a night's follows the fans asked for, not the days.
_BATCH_FANS: Final = 200
_JOINED_DAYS: Final = 4
# What the hours of a fan-day cost beside its judgement.
_HOURS_SHARE: Final = 0.3
_HOUR: Final = dt.timedelta(hours=1)
_DAY: Final = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class _Run:
    fans: tuple[str, ...]
    first: dt.date
    last: dt.date


def keep_hours(site: SiteFolder, store: Store, workers: Workers | None = None) -> None:
    """Bring hours and fan-days up to the last pass.

    Every reading is read once: a pass names the fan-days it touched, and only those are read again. A new
    generation of readings or of the hours themselves starts from nothing, a fan whose row in fans.csv now
    says otherwise when it runs starts from nothing alone.
    """
    last_pass = store.latest_pass()
    if last_pass == 0:
        return
    generation = _generation(site, store)
    mark, made = _marks(store)
    wanted = {fan: _made_with(site, fan) for fan in site.fan_names}
    is_fresh = mark is None or mark.generation != generation or mark.hours_version != HOURS_VERSION
    anew = [fan for fan in site.fan_names if is_fresh or made.get(fan) != wanted[fan]]
    since = 0 if mark is None or is_fresh else int(mark.pass_id)
    if not anew and since == last_pass:
        return
    with store.writer() as connection:
        for table in (fan_days, hours_made, settled_days):
            connection.execute(sa.delete(table).where(table.c.fan.in_(anew)))
        if is_fresh:
            connection.execute(sa.delete(hour_marks))
    if is_fresh:
        # The mark goes first: stopped in between, the next run begins from nothing too.
        store.hours.clear()
    revision = max(last_pass, store.hours.latest_revision() + 1)
    due: deque[_Run] = deque()
    for hours, days in (workers or alone()).in_order(
        _made, _pieces(site, store, _due(site, store, anew, since), due)
    ):
        _write(store, due.popleft(), revision, hours, days)
        revision += 1
    with store.writer() as connection:
        connection.execute(sa.delete(hour_marks))
        row = {"id": 1, "pass_id": last_pass, "generation": generation, "hours_version": HOURS_VERSION}
        connection.execute(sa.insert(hour_marks), [row])
        if anew:
            rows = [{"fan": fan, "digest": wanted[fan]} for fan in anew]
            connection.execute(sa.delete(hours_made).where(hours_made.c.fan.in_(anew)))
            connection.execute(sa.insert(hours_made), rows)


def _generation(site: SiteFolder, store: Store) -> str:
    current = store.catalogue.current()
    # The zone says where the plant's hours and days begin.
    return f"{'' if current is None else current.folder} {site.site.timezone}"


def _marks(store: Store) -> tuple[Any, dict[str, str]]:
    with store.reader() as connection:
        mark = connection.execute(sa.select(hour_marks)).one_or_none()
        made = {row.fan: row.digest for row in connection.execute(sa.select(hours_made))}
    return mark, made


def _made_with(site: SiteFolder, fan: str) -> str:
    """Return the digest of what decides in which readings a fan runs."""
    facts = [
        (
            epoch.valid_from,
            epoch.machine.speed_control,
            epoch.machine.min_speed_fraction,
            epoch.machine.motor_rated_current_a,
            epoch.machine.motor_rated_power_w,
            epoch.machine.motor_count,
            epoch.machine.design_pressure_pa,
            epoch.machine.design_airflow_m3s,
            epoch.machine.is_pressure_shared,
            epoch.machine.is_airflow_shared,
        )
        for epoch in site.epochs(fan)
    ]
    held = sorted(site.site.hold_minutes.of_roles.items())
    return hashlib.sha256(repr((facts, held)).encode()).hexdigest()


def _due(site: SiteFolder, store: Store, anew: Sequence[str], since: int) -> Iterator[_Run]:
    if anew:
        yield from _runs(store, anew, 0)
    rest = [fan for fan in site.fan_names if fan not in set(anew)]
    if rest:
        yield from _runs(store, rest, since)


def _runs(store: Store, fans: Sequence[str], since: int) -> Iterator[_Run]:
    spans: dict[tuple[dt.date, dt.date], list[str]] = {}
    # The site's own points bear on every fan that day.
    of_site = [date for _, dates in store.touched_by_fan([SITE_FAN], since) for date in dates]
    unseen = set(fans) if of_site else set()
    for fan, dates in store.touched_by_fan(fans, since):
        unseen.discard(fan)
        for first, last in _joined(sorted({*of_site, *dates}) if of_site else dates):
            spans.setdefault((first, last), []).append(fan)
    for first, last in _joined(of_site):
        spans.setdefault((first, last), []).extend(unseen)
    for (first, last), members in sorted(spans.items()):
        # In the order of the files, so that each batch unpacks its own part of them.
        yield from _batches(sorted(members), first, last)


def _batches(fans: Sequence[str], first: dt.date, last: dt.date) -> Iterator[_Run]:
    """Yield the runs that make the days of fans from a first to a last and the day after it."""
    days = (last - first).days + 2
    most_days = max(_BATCH_DAYS, _BATCH_FAN_DAYS // len(fans))
    count = -(-days // most_days)
    begins = [first + days * number // count * _DAY for number in range(count + 1)]
    for begin, end in pairwise(begins):
        size = min(max(1, _BATCH_FAN_DAYS // (end - begin).days), _BATCH_FANS)
        for start in range(0, len(fans), size):
            # A run makes the day after its last too: the next begins after that one.
            yield _Run(tuple(fans[start : start + size]), begin, end - 2 * _DAY)


def _joined(dates: Sequence[dt.date]) -> list[tuple[dt.date, dt.date]]:
    spans: list[tuple[dt.date, dt.date]] = []
    for date in dates:
        if spans and (date - spans[-1][1]).days <= _JOINED_DAYS:
            spans[-1] = (spans[-1][0], date)
        else:
            spans.append((date, date))
    return spans


def _pieces(site: SiteFolder, store: Store, runs: Iterable[_Run], due: deque[_Run]) -> Iterator[Piece]:
    """Yield the work of each run, and note the run as due to be written."""
    tables = store.tables()
    for run in runs:
        due.append(run)
        size = _HOURS_SHARE * len(run.fans) * ((run.last - run.first).days + 1)
        yield Piece((tables, site.of_fans(run.fans), run), size)


def _made(tables: TablesRead, site: SiteFolder, run: _Run) -> tuple[pd.DataFrame, list[dict[str, Any]]]:
    """Return a run's hours and its fan-days."""
    # One day more, whose first hour is steady only if the last hour before it ran through.
    start, end = midnight(site, run.first), midnight(site, run.last + 2 * _DAY)
    rows = tables.read_told([*run.fans], start - _HOUR, end)
    weather = site_hours(site, tables, start, end)
    readings = FleetReadings.of(rows, site.site.zone)
    hours = held_fleet_hours(site, tables, readings, start, weather)
    return hours, [] if hours.empty else list(_day_rows(hours, readings))


def _write(
    store: Store, run: _Run, revision: int, hours: pd.DataFrame, days: Sequence[dict[str, Any]]
) -> None:
    if hours.empty:
        return
    store.hours.append(hours, revision)
    store.reached(faults.HOURS_WRITTEN)
    with store.writer() as connection:
        inside = fan_days.c.fan.in_(run.fans) & fan_days.c.date.between(run.first, run.last + _DAY)
        before = [dict(row._mapping) for row in connection.execute(sa.select(fan_days).where(inside))]
        for fan, date in _first_changes(before, days).items():
            is_unsettled = (settled_days.c.fan == fan) & (settled_days.c.date >= date)
            connection.execute(sa.delete(settled_days).where(is_unsettled))
        connection.execute(sa.delete(fan_days).where(inside))
        connection.execute(sa.insert(fan_days), list(days))


def _first_changes(before: Sequence[dict[str, Any]], after: Sequence[dict[str, Any]]) -> dict[str, dt.date]:
    """Return of each fan with another day than before the first such date."""
    was, now = ({(row["fan"], row["date"]): row for row in rows} for rows in (before, after))
    found: dict[str, dt.date] = {}
    for fan, date in sorted(was.keys() | now.keys()):
        if was.get((fan, date)) != now.get((fan, date)):
            found.setdefault(fan, date)
    return found


def _day_rows(hours: pd.DataFrame, readings: FleetReadings) -> Iterator[dict[str, Any]]:
    columns = [name for name in hours.columns if name not in ("fan", "time", "last_reading")]
    numbers = np.empty((len(hours), len(columns)))
    for place, name in enumerate(columns):
        numbers[:, place] = hours[name].to_numpy()
    fan = hours["fan"].to_numpy(dtype=object)
    day = hours["day"].to_numpy(dtype=np.int64)
    last_us = in_microseconds(hours["last_reading"])
    running, steady = hours["running"].to_numpy(), hours["is_steady"].to_numpy(dtype=np.int64)
    proof = (hours["late_run_status"].to_numpy() > 0.5) & (running == 1.0)
    intervals = dict(_intervals(readings))
    begins = np.flatnonzero(np.append(True, (day[1:] != day[:-1]) | (fan[1:] != fan[:-1]))[: len(day)])
    steady_hours = np.add.reduceat(steady, begins).tolist()
    seen = np.logical_or.reduceat(proof, begins).tolist()
    for place, (begin, end) in enumerate(zip(begins, ends_of(begins, len(day)), strict=True)):
        digest = hashlib.sha256(numbers[begin:end].data)
        digest.update(last_us[begin:end].data)
        name, ordinal = str(fan[begin]), int(day[begin])
        yield {
            "fan": name,
            "date": dt.date.fromordinal(ordinal),
            "digest": digest.hexdigest(),
            # Summed in pairs, which leaves whole hours whole.
            "hours_running": float(running[begin:end].sum()),
            "hours_steady": steady_hours[place],
            "interval_s": intervals[name, ordinal],
            "last_reading": from_microseconds(int(last_us[end - 1])),
            "is_proof_seen": seen[place],
        }


def _intervals(readings: FleetReadings) -> Iterator[tuple[tuple[str, int], float]]:
    """Yield each fan's days with the usual step of their readings [s]."""
    times = readings.times
    is_first = np.append(True, np.diff(times.ordinal) != 0)[: len(times.ordinal)]
    is_first[readings.begins] = True
    begins = np.flatnonzero(is_first)
    ends = ends_of(begins, len(is_first))
    places = np.searchsorted(readings.begins, begins, side="right") - 1
    steps = np.diff(times.utc_us, append=0)
    # The step from a day's last row leads out of it: the day's first stands in.
    steps[ends - 1] = steps[begins]
    is_level = np.minimum.reduceat(steps, begins) == np.maximum.reduceat(steps, begins)
    ordinals = times.ordinal[begins].tolist()
    for number, (begin, end, place) in enumerate(zip(begins, ends, places, strict=True)):
        if end - begin < 2:
            usual = 3600.0
        elif is_level[number]:
            # Most days have one step, and a median of a day costs more than all else of it.
            usual = float(steps[begin]) / 1e6
        else:
            usual = float(np.median(steps[begin : end - 1])) / 1e6
        yield (readings.fans[place], ordinals[number]), usual
