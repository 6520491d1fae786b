"""One fan's readings as operating points of the plant's own hours and days."""

import datetime as dt
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.operating_points import hour_start_ns, operating_points
from analytics.rounding import settled
from config.folder import SiteFolder
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


def fan_hours(
    site: SiteFolder, fan: str, rows: pd.DataFrame, times: LocalTimes, weather: pd.DataFrame
) -> pd.DataFrame:
    """Return one fan's operating points with the site's weather and the plant date of each hour.

    Each epoch of the fan decides by its own motor what running is.

    Parameters: `rows`, readings in order of time; `times`, theirs; `weather` of `site_hours`.
    """
    epochs = site.epochs(fan)
    starts = [epoch.valid_from for epoch in epochs[1:] if epoch.valid_from is not None]
    which = np.searchsorted([date.toordinal() for date in starts], times.ordinal, side="right")
    parts = [
        operating_points(
            rows[which == number].reset_index(drop=True),
            epochs[int(number)].machine,
            times.offset_s[which == number],
        )
        for number in np.unique(which)
    ]
    points = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]
    points.insert(0, "fan", fan)
    points["day"] = LocalTimes.of(points["time"], site.site.zone).ordinal.astype(np.float64)
    at_hour = weather.reindex(pd.DatetimeIndex(points["time"]))
    for name in SITE_POINTS:
        points[name] = settled(at_hour[name].to_numpy(dtype=np.float64))
    points["stopped"] = points["stopped"].astype(np.float64)
    return points


def site_hours(site: SiteFolder, tables: TablesRead, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
    """Return the hourly means of the site's own points, indexed by hour."""
    rows = tables.read_readings([""], start, end, SITE_POINTS)
    times = LocalTimes.of(rows["time"], site.site.zone)
    hour = pd.to_datetime(hour_start_ns(pd.DatetimeIndex(rows["time"]), times.offset_s), utc=True)
    return rows[list(SITE_POINTS)].astype(np.float64).groupby(hour.as_unit("us")).mean()
