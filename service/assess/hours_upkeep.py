"""Keep the hourly operating points and the index of fan-days beside the readings, touched days only."""

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.operating_points import operating_points
from config.folder import SiteFolder
from service.store.ledger_tables import fan_days, hour_marks
from service.store.store import Store

HOURS_VERSION: Final = 1
SITE_POINTS: Final = ("outdoor_temperature_c", "barometric_pressure_pa")
_BATCH: Final = 8
_JOINED_DAYS: Final = 4
_HOUR: Final = dt.timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class _Run:
    fans: tuple[str, ...]
    first: dt.date
    last: dt.date


def keep_hours(site: SiteFolder, store: Store) -> None:
    """Bring hours and fan-days up to the last pass.

    Every reading is read once: a pass names the fan-days it touched, and only those are read again. A new
    generation of readings or of the hours themselves starts from nothing.
    """
    last_pass = store.latest_pass()
    if last_pass == 0:
        return
    folder = _generation(store)
    mark = _mark(store)
    is_fresh = mark is None or mark.generation != folder or mark.hours_version != HOURS_VERSION
    if is_fresh:
        store.hours.clear()
        with store.writer() as connection:
            connection.execute(sa.delete(fan_days))
            connection.execute(sa.delete(hour_marks))
        touched = store.touched_days(0)
    elif mark is not None and mark.pass_id < last_pass:
        touched = store.touched_days(int(mark.pass_id))
    else:
        return
    revision = max(last_pass, store.hours.latest_revision() + 1)
    for run in _runs(site, touched):
        _refresh(site, store, run, revision)
        revision += 1
    with store.writer() as connection:
        connection.execute(sa.delete(hour_marks))
        row = {"id": 1, "pass_id": last_pass, "generation": folder, "hours_version": HOURS_VERSION}
        connection.execute(sa.insert(hour_marks), [row])


def _generation(store: Store) -> str:
    current = store.catalogue.current()
    return "" if current is None else current.folder


def _mark(store: Store) -> Any:
    with store.reader() as connection:
        return connection.execute(sa.select(hour_marks)).one_or_none()


def _runs(site: SiteFolder, touched: pd.DataFrame) -> Iterator[_Run]:
    spans: dict[tuple[dt.date, dt.date], list[str]] = {}
    site_dates = set(touched.loc[touched["fan"] == "", "date"])
    for fan in site.fan_names:
        # The site's own points bear on every fan that day.
        dates = sorted(site_dates | set(touched.loc[touched["fan"] == fan, "date"]))
        for first, last in _joined(dates):
            spans.setdefault((first, last), []).append(fan)
    for (first, last), fans in sorted(spans.items()):
        for start in range(0, len(fans), _BATCH):
            yield _Run(tuple(fans[start : start + _BATCH]), first, last)


def _joined(dates: Sequence[dt.date]) -> list[tuple[dt.date, dt.date]]:
    spans: list[tuple[dt.date, dt.date]] = []
    for date in dates:
        if spans and (date - spans[-1][1]).days <= _JOINED_DAYS:
            spans[-1] = (spans[-1][0], date)
        else:
            spans.append((date, date))
    return spans


def midnight(site: SiteFolder, date: dt.date) -> dt.datetime:
    """Return the instant a plant day begins."""
    # The zone's own midnight: across a clock change a day has 23 or 25 hours.
    return dt.datetime.combine(date, dt.time(), tzinfo=site.site.zone).astimezone(dt.UTC)


def _refresh(site: SiteFolder, store: Store, run: _Run, revision: int) -> None:
    # One day more, whose first hour is steady only if the last hour before it ran through.
    last = run.last + dt.timedelta(days=1)
    start, end = midnight(site, run.first), midnight(site, last + dt.timedelta(days=1))
    readings = store.read_readings([*run.fans], start - _HOUR, end)
    weather = site_hours(store, start, end)
    hours, days = [], []
    for fan, rows in readings.groupby("fan", sort=True):
        points = fan_hours(site, str(fan), rows, weather)
        points = points[points["time"] >= pd.Timestamp(start)]
        if points.empty:
            continue
        hours.append(points)
        days += list(_day_rows(str(fan), points, rows, site))
    if not hours:
        return
    store.hours.append(pd.concat(hours, ignore_index=True), revision)
    with store.writer() as connection:
        for fan in run.fans:
            inside = (fan_days.c.fan == fan) & fan_days.c.date.between(run.first, last)
            connection.execute(sa.delete(fan_days).where(inside))
        connection.execute(sa.insert(fan_days), days)


def site_hours(store: Store, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
    """Return the hourly means of the site's own points, indexed by hour."""
    rows = store.read_readings([""], start, end)
    present = [name for name in SITE_POINTS if name in rows]
    if rows.empty or not present:
        return pd.DataFrame(columns=list(SITE_POINTS), dtype=np.float64)
    hour = rows["time"].dt.floor("h")
    return rows.groupby(hour)[present].mean().reindex(columns=list(SITE_POINTS))


def fan_hours(site: SiteFolder, fan: str, rows: pd.DataFrame, weather: pd.DataFrame) -> pd.DataFrame:
    """Return one fan's operating points with the site's weather and the plant date of each hour."""
    dates = rows["time"].dt.tz_convert(site.site.zone).dt.date
    first = site.epoch_at(fan, dates.iloc[-1]) or site.epochs(fan)[0]
    points = operating_points(rows.reset_index(drop=True), first.machine)
    points.insert(0, "fan", fan)
    local = points["time"].dt.tz_convert(site.site.zone)
    points["day"] = [float(date.toordinal()) for date in local.dt.date]
    joined = points[["time"]].merge(weather, left_on="time", right_index=True, how="left")
    for name in SITE_POINTS:
        points[name] = joined[name].to_numpy(dtype=np.float64)
    points["stopped"] = points["stopped"].astype(np.float64)
    return points


def _day_rows(
    fan: str, points: pd.DataFrame, rows: pd.DataFrame, site: SiteFolder
) -> Iterator[dict[str, Any]]:
    numbers = points.drop(columns=["fan", "time", "last_reading"]).to_numpy(dtype=np.float64)
    reading_day = np.array(
        [date.toordinal() for date in rows["time"].dt.tz_convert(site.site.zone).dt.date], dtype=np.int64
    )
    seconds = rows["time"].dt.as_unit("us").astype("int64").to_numpy() / 1e6
    ordinal = points["day"].to_numpy()
    for value in np.unique(ordinal):
        of_day = ordinal == value
        steps = np.diff(seconds[reading_day == int(value)])
        digest = hashlib.sha256(np.ascontiguousarray(numbers[of_day]).tobytes())
        digest.update(
            points.loc[of_day, "last_reading"].dt.as_unit("us").astype("int64").to_numpy().tobytes()
        )
        yield {
            "fan": fan,
            "date": dt.date.fromordinal(int(value)),
            "digest": digest.hexdigest(),
            "hours_running": float(points.loc[of_day, "running"].sum()),
            "hours_steady": int(points.loc[of_day, "is_steady"].sum()),
            "interval_s": float(np.median(steps)) if len(steps) else 3600.0,
            "last_reading": points.loc[of_day, "last_reading"].iloc[-1].to_pydatetime(),
        }
