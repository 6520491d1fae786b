"""Readings of several fans as operating points of the plant's own hours and days."""

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analytics.operating_points import Part, fleet_points, hour_start_ns
from analytics.rounding import settled
from config.folder import SiteFolder
from service.store.columns import SITE_FAN
from service.store.tables_read import TablesRead

SITE_POINTS: Final = ("outdoor_temperature_c", "barometric_pressure_pa")
_DAY_US: Final = 86_400_000_000
_EPOCH_ORDINAL: Final = dt.date(1970, 1, 1).toordinal()

Integers = npt.NDArray[np.int64]


def midnight(site: SiteFolder, date: dt.date) -> dt.datetime:
    """Return the instant a plant day begins."""
    # The zone's own midnight: across a clock change a day has 23 or 25 hours.
    return dt.datetime.combine(date, dt.time(), tzinfo=site.site.zone).astimezone(dt.UTC)


@dataclass(frozen=True, slots=True)
class LocalTimes:
    """Times as the plant's clock shows them, every field of shape (times,).

    `utc_us` since 1970; `offset_s` of the plant's clock from UTC; `ordinal` of the plant's date.
    """

    utc_us: Integers
    offset_s: Integers
    ordinal: Integers

    @classmethod
    def of(cls, times: "pd.Series[pd.Timestamp]", zone: ZoneInfo) -> "LocalTimes":
        """Read UTC times on the plant's clock."""
        utc_us = times.dt.as_unit("us").dt.tz_localize(None).to_numpy().astype("int64")
        local = times.dt.as_unit("us").dt.tz_convert(zone).dt.tz_localize(None).to_numpy().astype("int64")
        return cls(utc_us, (local - utc_us) // 1_000_000, local // _DAY_US + _EPOCH_ORDINAL)


def ends_of(begins: Integers, size: int) -> Integers:
    """Return where runs end, past the last of each, that begin at some places of a row of a size."""
    return np.append(begins[1:], size)[: len(begins)]


def begins_of_fans(rows: pd.DataFrame) -> Integers:
    """Return where each fan's rows begin among rows sorted by fan."""
    # As Arrow holds them: no name becomes an object of its own.
    names = pa.chunked_array(pa.array(rows["fan"], type=pa.string()))
    is_other = pc.not_equal(names.slice(1), names.slice(0, max(len(names) - 1, 0)))
    return np.append(0, np.flatnonzero(is_other.to_numpy()) + 1)[: len(names)].astype(np.int64)


@dataclass(frozen=True, slots=True)
class FleetReadings:
    """The readings of several fans, fan after fan, each in order of time, with their times.

    `fans` their names in that order, `begins` where each fan's readings begin.
    """

    rows: pd.DataFrame
    times: LocalTimes
    fans: tuple[str, ...]
    begins: Integers

    @classmethod
    def of(cls, rows: pd.DataFrame, zone: ZoneInfo) -> "FleetReadings":
        """Find the fans among rows sorted by fan and time."""
        begins = begins_of_fans(rows)
        fans = tuple(str(name) for name in rows["fan"].iloc[begins])
        return cls(rows, LocalTimes.of(rows["time"], zone), fans, begins)

    def ends(self) -> Integers:
        """Return where each fan's readings end, past the last."""
        return ends_of(self.begins, len(self.rows))

    def of_fan(self, place: int) -> pd.DataFrame:
        """Return one fan's readings."""
        return self.rows.iloc[self.begins[place] : self.ends()[place]]


def fleet_hours(site: SiteFolder, readings: FleetReadings, weather: pd.DataFrame) -> pd.DataFrame:
    """Return some fans' operating points with the site's weather and the plant date of each hour.

    Each epoch of a fan decides by its own motor what running is.

    Parameters: `readings`; `weather` of `site_hours`. Returns: rows in order of fan and time.
    """
    parts, names = [], []
    for fan, begin, end in zip(readings.fans, readings.begins, readings.ends(), strict=True):
        epochs = site.epochs(fan)
        starts = [epoch.valid_from.toordinal() for epoch in epochs[1:] if epoch.valid_from is not None]
        cuts = begin + np.searchsorted(readings.times.ordinal[begin:end], starts)
        bounds = [int(begin), *(int(cut) for cut in cuts), int(end)]
        for epoch, (first, past) in zip(epochs, pairwise(bounds), strict=True):
            parts.append(Part(first, past, epoch.machine))
            names.append(fan)
    points, number = fleet_points(readings.rows, parts, readings.times.offset_s)
    points.insert(0, "fan", np.array(names, dtype=object)[number])
    points["day"] = LocalTimes.of(points["time"], site.site.zone).ordinal.astype(np.float64)
    at_hour = weather.reindex(pd.DatetimeIndex(points["time"]))
    for name in SITE_POINTS:
        points[name] = settled(at_hour[name].to_numpy(dtype=np.float64))
    points["stopped"] = points["stopped"].astype(np.float64)
    return points


def site_hours(site: SiteFolder, tables: TablesRead, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
    """Return the hourly means of the site's own points, indexed by hour."""
    rows = tables.read_readings([SITE_FAN], start, end, SITE_POINTS)
    if rows.empty:
        return pd.DataFrame(columns=SITE_POINTS, index=pd.DatetimeIndex([], tz="UTC"), dtype=np.float64)
    times = LocalTimes.of(rows["time"], site.site.zone)
    hour = pd.to_datetime(hour_start_ns(pd.DatetimeIndex(rows["time"]), times.offset_s), utc=True)
    return rows[list(SITE_POINTS)].astype(np.float64).groupby(hour.as_unit("us")).mean()
