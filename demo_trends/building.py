"""When a building wants its fans and how much air it asks of them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from demo_trends.arrays import Array, Mask
from demo_trends.weather import hours_between, wander


@dataclass(frozen=True, slots=True)
class Hours:
    """Start and stop by kind of day, in local clock hours; None where the fan stays off that day."""

    weekday: tuple[float, float] | None
    saturday: tuple[float, float] | None
    sunday: tuple[float, float] | None
    day_level: float = 1.0
    night_level: float = 0.5
    busy: tuple[float, float] = (8.0, 17.0)
    weather_share: float = 0.35


USES: dict[str, Hours] = {
    "office": Hours((6.0, 19.0), (8.0, 13.0), None, night_level=0.2),
    "library": Hours((6.5, 23.0), (8.0, 20.0), (10.0, 23.0), night_level=0.25, busy=(9.0, 21.0)),
    "laboratory": Hours(
        (0.0, 24.0), (0.0, 24.0), (0.0, 24.0), night_level=0.35, busy=(8.0, 18.0), weather_share=0.1
    ),
    "kitchen": Hours((5.5, 21.0), (7.0, 20.0), (7.0, 20.0), busy=(6.5, 19.0), weather_share=0.1),
    "pool": Hours(
        (0.0, 24.0), (0.0, 24.0), (0.0, 24.0), night_level=0.4, busy=(6.0, 21.0), weather_share=0.25
    ),
    "glasshouse": Hours((5.0, 22.0), (5.0, 22.0), (5.0, 22.0), busy=(8.0, 19.0), weather_share=0.75),
    "workshop": Hours((7.5, 17.5), (9.0, 15.0), None, busy=(8.0, 17.0), weather_share=0.1),
    "always": Hours((0.0, 24.0), (0.0, 24.0), (0.0, 24.0), night_level=1.0, weather_share=0.1),
}


@dataclass(frozen=True, slots=True)
class Load:
    """Whether the fan is called for, the hours since it last started, and the demand from 0 to 1."""

    is_called: Mask
    hours_since_start: Array
    is_busy: Mask
    demand: Array


def _clock(local: pd.DatetimeIndex) -> Array:
    return np.asarray(local.hour + local.minute / 60.0 + local.second / 3600.0, dtype=np.float64)


def _called(use: Hours, local: pd.DatetimeIndex, rng: np.random.Generator) -> Mask:
    """Inside the day's hours, with a start that wanders some minutes from day to day."""
    clock = _clock(local)
    day = np.asarray((local.normalize().tz_localize(None) - local[0].normalize().tz_localize(None)).days)
    late = np.abs(rng.normal(0.0, 0.12, size=int(day.max()) + 1))[day]
    weekday = local.day_of_week.to_numpy()
    is_called = np.zeros(len(local), dtype=bool)
    for hours, is_day in (
        (use.weekday, weekday < 5),
        (use.saturday, weekday == 5),
        (use.sunday, weekday == 6),
    ):
        if hours is not None:
            begins = hours[0] + (late + 0.05 if hours[1] - hours[0] < 24.0 else 0.0)
            is_called |= is_day & (clock >= begins) & (clock < hours[1] + 0.02)
    return is_called


def _since(is_on: Mask, interval_hours: float, before: float) -> Array:
    """Hours since the mask last turned true, from half a step in; `before` at the start."""
    position = np.arange(len(is_on))
    last_off = np.maximum.accumulate(np.where(is_on, -1, position))
    hours = (position - last_off - 0.5) * interval_hours
    return np.where(is_on, np.where(last_off < 0, before + position * interval_hours, hours), 0.0)


def draw_load(
    use: str,
    time: pd.DatetimeIndex,
    zone: str,
    outdoor_c: Array,
    *,
    rng: np.random.Generator,
    unrest: float = 1.0,
    is_barred: Mask | None = None,
) -> Load:
    """A run of calls and demand for one fan of this use; it never runs where it is barred."""
    hours = USES[use]
    local = time.tz_convert(zone)
    step = hours_between(time)
    is_called = _called(hours, local, rng)
    if is_barred is not None:
        is_called &= ~is_barred
    clock = _clock(local)
    is_weekend = local.day_of_week.to_numpy() >= 5
    begin, end = hours.busy
    people = np.clip(np.minimum(clock - begin + 1.0, end + 1.0 - clock) / 2.0, 0.0, 1.0)
    people = people * np.where(is_weekend, 0.55, 1.0)
    level = hours.night_level + (hours.day_level - hours.night_level) * people
    weather = 1.0 / (1.0 + np.exp(-(np.abs(outdoor_c - 14.0) - 8.0) / 4.0))
    unsettled = unrest * (0.10 * wander(rng, len(time), step, 9.0) + 0.07 * wander(rng, len(time), step, 0.8))
    demand = (
        (1.0 - hours.weather_share) * level + hours.weather_share * weather * (0.4 + 0.6 * level) + unsettled
    )
    return Load(
        is_called,
        _since(is_called, step, before=12.0),
        people > 0.5,
        np.asarray(np.clip(demand, 0.0, 1.0), dtype=np.float64),
    )
