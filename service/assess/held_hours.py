"""Hours of fans whose points are logged on change, or at times of their own: each value weighs its time."""

import datetime as dt
from typing import Final

import numpy as np
import pandas as pd

from analytics.holding import MOST_HOLD_S, held, needs_holding
from config.folder import SiteFolder
from service.assess.fan_hours import FleetReadings, ends_of, fleet_hours, midnight
from service.store.columns import ROLE_COLUMNS
from service.store.readings import microseconds
from service.store.tables_read import TablesRead

POINTS: Final = tuple(ROLE_COLUMNS.values())
_DAY: Final = dt.timedelta(days=1)
_LEAD: Final = dt.timedelta(seconds=MOST_HOLD_S) + dt.timedelta(hours=1)


def held_fleet_hours(
    site: SiteFolder, tables: TablesRead, readings: FleetReadings, start: dt.datetime, weather: pd.DataFrame
) -> pd.DataFrame:
    """Return the fans' hours from `start`, the beginning of a plant day, in order of fan and time.

    Whether a day is held is decided by that day's own readings, so that it gives the same hours in whatever
    pass it is made.

    Parameters: `readings` from an hour before `start`; `weather` of `site_hours`.
    """
    if readings.rows.empty:
        return readings.rows[["fan", "time"]]
    points = fleet_hours(site, readings, weather)
    points = points[points["time"] >= pd.Timestamp(start)].reset_index(drop=True)
    uneven = _uneven_days(readings, microseconds(start))
    if not uneven:
        return points
    early = [readings.fans[place] for place in uneven]
    lead = tables.read_told(early, start - _LEAD, start - dt.timedelta(hours=1))
    kept = [points]
    for place, days in uneven.items():
        fan = readings.fans[place]
        whole = pd.concat([lead[lead["fan"] == fan], readings.of_fan(place)], ignore_index=True)
        is_held = (kept[0]["fan"] == fan) & kept[0]["day"].isin([day.toordinal() for day in days])
        kept[0] = kept[0][~is_held]
        kept += [_held_hours(site, fan, whole, day, weather) for day in days]
    kept = [part for part in kept if not part.empty]
    return pd.concat(kept, ignore_index=True).sort_values(["fan", "time"], kind="stable", ignore_index=True)


def _uneven_days(readings: FleetReadings, start_us: int) -> dict[int, list[dt.date]]:
    """Return the days to be held, by the place of their fan."""
    times = readings.times
    is_first = np.append(True, np.diff(times.ordinal) != 0)[: len(times.ordinal)]
    is_first[readings.begins] = True
    begins = np.flatnonzero(is_first)
    ends = ends_of(begins, len(is_first))
    points = readings.rows[[name for name in POINTS if name in readings.rows]]
    is_whole = np.ones(len(begins), dtype=bool)
    for name in points:
        is_filled = ~np.isnan(points[name].to_numpy(dtype=np.float64))
        if not is_filled.all():
            filled = np.add.reduceat(is_filled, begins, dtype=np.int64)
            is_whole &= (filled == 0) | (filled == ends - begins)
    steps = np.diff(times.utc_us, append=0)
    # The step from a day's last row leads out of it: the day's first stands in.
    steps[ends - 1] = steps[begins]
    is_level = np.minimum.reduceat(steps, begins) == np.maximum.reduceat(steps, begins)
    found: dict[int, list[dt.date]] = {}
    # Days of one step, each point in every row or in none, are most days and need no closer look.
    for place in np.flatnonzero((times.utc_us[ends - 1] >= start_us) & ~(is_whole & is_level)):
        low, past = begins[place], ends[place]
        values = points.iloc[low:past].to_numpy(dtype=np.float64)
        if needs_holding(times.utc_us[low:past] * 1000, values):
            fan = int(np.searchsorted(readings.begins, low, side="right")) - 1
            found.setdefault(fan, []).append(dt.date.fromordinal(int(times.ordinal[low])))
    return found


def _held_hours(
    site: SiteFolder, fan: str, rows: pd.DataFrame, day: dt.date, weather: pd.DataFrame
) -> pd.DataFrame:
    start, end = midnight(site, day), midnight(site, day + _DAY)
    begin, past = microseconds(start) * 1000, microseconds(end) * 1000
    longest = {
        ROLE_COLUMNS[role]: 60.0 * minutes for role, minutes in site.site.hold_minutes.of_roles.items()
    }
    told = held(rows, begin, past, POINTS, longest)
    points = fleet_hours(site, FleetReadings.of(told.assign(fan=fan), site.site.zone), weather)
    return points[points["time"] >= pd.Timestamp(start)]
