"""Hours of fans whose points are logged on change, or at times of their own: each value weighs its time."""

import datetime as dt
from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from analytics.holding import MOST_HOLD_S, held, needs_holding
from config.folder import SiteFolder
from service.assess.fan_hours import LocalTimes, fan_hours, midnight
from service.store.columns import ROLE_COLUMNS
from service.store.readings import microseconds
from service.store.tables_read import TablesRead

POINTS: Final = tuple(ROLE_COLUMNS.values())
_DAY: Final = dt.timedelta(days=1)
_LEAD: Final = dt.timedelta(seconds=MOST_HOLD_S) + dt.timedelta(hours=1)


def hours_by_fan(
    site: SiteFolder, tables: TablesRead, readings: pd.DataFrame, start: dt.datetime, weather: pd.DataFrame
) -> Iterator[tuple[str, LocalTimes, pd.DataFrame]]:
    """Yield each fan with its readings' times and its hours from `start`, the beginning of a plant day.

    Whether a day is held is decided by that day's own readings, so that it gives the same hours in whatever
    pass it is made.

    Parameters: `readings` from an hour before `start`; `weather` of `site_hours`.
    """
    parts = {str(fan): rows for fan, rows in readings.groupby("fan", sort=True)}
    times = {fan: LocalTimes.of(rows["time"], site.site.zone) for fan, rows in parts.items()}
    uneven = {fan: _uneven_days(rows, times[fan], microseconds(start)) for fan, rows in parts.items()}
    early = [fan for fan, days in uneven.items() if days]
    lead = tables.read_readings(early, start - _LEAD, start - dt.timedelta(hours=1)) if early else None
    for fan, rows in parts.items():
        points = fan_hours(site, fan, rows, times[fan], weather)
        points = points[points["time"] >= pd.Timestamp(start)].reset_index(drop=True)
        if uneven[fan] and lead is not None:
            whole = pd.concat([lead[lead["fan"] == fan], rows], ignore_index=True)
            kept = [points[~points["day"].isin([day.toordinal() for day in uneven[fan]])]]
            kept += [_held_hours(site, fan, whole, day, weather) for day in uneven[fan]]
            kept = [part for part in kept if not part.empty]
            points = pd.concat(kept, ignore_index=True).sort_values("time", ignore_index=True)
        yield fan, times[fan], points


def _uneven_days(rows: pd.DataFrame, times: LocalTimes, start_us: int) -> list[dt.date]:
    values = rows[list(POINTS)].to_numpy(dtype=np.float64)
    days, first = np.unique(times.ordinal, return_index=True)
    return [
        dt.date.fromordinal(int(day))
        for day, low, past in zip(days, first, [*first[1:], len(rows)], strict=True)
        if times.utc_us[past - 1] >= start_us
        and needs_holding(times.utc_us[low:past] * 1000, values[low:past])
    ]


def _held_hours(
    site: SiteFolder, fan: str, rows: pd.DataFrame, day: dt.date, weather: pd.DataFrame
) -> pd.DataFrame:
    start, end = midnight(site, day), midnight(site, day + _DAY)
    begin, past = microseconds(start) * 1000, microseconds(end) * 1000
    longest = {
        ROLE_COLUMNS[role]: 60.0 * minutes for role, minutes in site.site.hold_minutes.of_roles.items()
    }
    told = held(rows, begin, past, POINTS, longest)
    points = fan_hours(site, fan, told, LocalTimes.of(told["time"], site.site.zone), weather)
    return points[points["time"] >= pd.Timestamp(start)]
