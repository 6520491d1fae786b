"""The air outside: temperature by season, hour and front, the barometer, and what air then weighs."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from demo_trends.arrays import Array


@dataclass(frozen=True, slots=True)
class Climate:
    """A place's weather in a few numbers; `warmest_day` is a day of the year."""

    altitude_m: float = 0.0
    mean_c: float = 11.0
    season_swing_c: float = 12.0
    day_swing_c: float = 6.0
    fronts_c: float = 4.0
    barometer_sd: float = 0.006
    warmest_day: float = 202.0


@dataclass(frozen=True, slots=True)
class Weather:
    """Outdoor temperature, station pressure and humidity ratio at the steps of a run."""

    time: pd.DatetimeIndex
    outdoor_c: Array
    barometer_pa: Array
    humidity_ratio: Array


def wander(rng: np.random.Generator, steps: int, interval_hours: float, memory_hours: float) -> Array:
    """A unit-variance random course that forgets itself in `memory_hours`."""
    keep = float(np.exp(-interval_hours / memory_hours))
    shocks = rng.normal(size=steps) * np.sqrt(1.0 - keep**2)
    shocks[0] = rng.normal()
    return np.asarray(lfilter([1.0], [1.0, -keep], shocks), dtype=np.float64)


def hours_between(time: pd.DatetimeIndex) -> float:
    """The interval of an even time index in hours."""
    return float((time[1] - time[0]) / pd.Timedelta(hours=1))


def draw_weather(climate: Climate, time: pd.DatetimeIndex, zone: str, rng: np.random.Generator) -> Weather:
    """A run of weather for this climate at these times (UTC)."""
    local = time.tz_convert(zone)
    step = hours_between(time)
    year = 2 * np.pi * (local.day_of_year.to_numpy() - climate.warmest_day) / 365.25
    hour = 2 * np.pi * (local.hour.to_numpy() + local.minute.to_numpy() / 60.0 - 15.5) / 24.0
    cloud = np.clip(1.0 + 0.35 * wander(rng, len(time), step, 30.0), 0.2, 1.8)
    outdoor = (
        climate.mean_c
        + climate.season_swing_c * np.cos(year)
        + climate.day_swing_c * cloud * np.cos(hour)
        + climate.fronts_c * wander(rng, len(time), step, 60.0)
    )
    standard = 101_325.0 * (1.0 - 2.25577e-5 * climate.altitude_m) ** 5.2559
    barometer = standard * (1.0 + climate.barometer_sd * wander(rng, len(time), step, 70.0))
    damp = 0.0035 * np.exp(0.045 * (outdoor - 8.0)) * np.exp(0.25 * wander(rng, len(time), step, 40.0))
    return Weather(time, outdoor, np.asarray(barometer), np.clip(damp, 0.0008, 0.016))


def air_density(barometer_pa: Array, temperature_c: Array, humidity_ratio: Array) -> Array:
    """Density of moist air as an ideal gas, from pressure, temperature and humidity ratio [kg/m3]."""
    dry = barometer_pa / (287.042 * (temperature_c + 273.15))
    return np.asarray(dry * (1.0 + humidity_ratio) / (1.0 + 1.607858 * humidity_ratio), dtype=np.float64)
