"""What did the fan do in each hour: steady means, stopped zeros and the hour's latest readings."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.arrays import Bools, Floats
from analytics.machine import Machine
from analytics.running import is_running

MEASURED = (
    "speed_fraction",
    "current_a",
    "power_w",
    "torque_fraction",
    "airflow_m3s",
    "pressure_pa",
    "air_temperature_c",
    "motor_speed_rpm",
    "wheel_speed_rpm",
    "outdoor_air_damper_fraction",
)
LATE = (
    "speed_fraction",
    "current_a",
    "power_w",
    "torque_fraction",
    "airflow_m3s",
    "pressure_pa",
    "run_status",
)
STOPPED = ("airflow_m3s", "pressure_pa")

# Within an hour the healthy curves are read at the mean; a ramp wider than this bends the mean off
# the curve by more than the sensors' own noise. Common practice, no source.
STEADY_SPEED_RANGE = 0.10
HOUR_NS = 3_600_000_000_000


def operating_points(readings: pd.DataFrame, machine: Machine) -> pd.DataFrame:
    """Reduce one fan's readings to hourly operating points.

    An hour is steady when the fan ran at every reading of it and of the hour before (the first hour
    after a stop is cold) and its speed stayed within a tenth. Means are over running readings;
    `stopped_*` are the sensors' zeros, `late_*` the latter half of the hour's readings, running or
    not, on which a lost drive is decided before the hour is over.

    Parameters: `readings`, one fan, sorted by `time` (UTC), columns of the readings table, any of
    the measured ones absent. Returns: frame with `time` (the hour's start, UTC), `readings`,
    `running` (share), `is_steady`, the measured columns, `late_*`, `stopped_*`, `stopped` (count) and
    `last_reading`. Rows in order of time, none for an hour without readings.
    """
    time = pd.DatetimeIndex(readings["time"])
    ns = time.as_unit("ns").asi8
    hours, group = np.unique(ns // HOUR_NS, return_inverse=True)
    values = {name: _column(readings, name) for name in {*MEASURED, *LATE}}
    running = is_running(
        values["speed_fraction"], values["current_a"], values["power_w"], values["run_status"], machine
    )
    count = np.bincount(group, minlength=len(hours))
    share = np.bincount(group, weights=running, minlength=len(hours)) / count
    position = np.arange(len(group)) - (np.cumsum(count) - count)[group]
    late = position >= (count // 2)[group]
    points: dict[str, npt.NDArray[np.generic]] = {"readings": count.astype(np.float64), "running": share}
    for name in MEASURED:
        points[name] = _mean(values[name], group, len(hours), running)
    for name in LATE:
        points[f"late_{name}"] = _mean(values[name], group, len(hours), late)
    for name in STOPPED:
        points[f"stopped_{name}"] = _mean(values[name], group, len(hours), ~running)
    points["stopped"] = np.bincount(group, weights=~running, minlength=len(hours))
    points["is_steady"] = _steady(hours, share, values["speed_fraction"], group)
    last = np.flatnonzero(np.append(group[1:] != group[:-1], True))
    frame = pd.DataFrame(points)
    frame.insert(0, "time", pd.to_datetime(hours * HOUR_NS, utc=True).as_unit("us"))
    frame["last_reading"] = time[last].as_unit("us")
    return frame


def _column(readings: pd.DataFrame, name: str) -> Floats:
    if name not in readings:
        return np.full(len(readings), np.nan)
    return readings[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _mean(values: Floats, group: npt.NDArray[np.intp], size: int, is_counted: Bools) -> Floats:
    usable = is_counted & ~np.isnan(values)
    number = np.bincount(group, weights=usable, minlength=size)
    total = np.bincount(group, weights=np.where(usable, values, 0.0), minlength=size)
    mean: Floats = np.divide(total, number, out=np.full(size, np.nan), where=number > 0)
    return mean


def _steady(hours: npt.NDArray[np.int64], share: Floats, speed: Floats, group: npt.NDArray[np.intp]) -> Bools:
    # One reading an hour says nothing of the hour's range: its neighbours' distance stands in.
    padded = np.where(np.isnan(speed), 0.0, speed)
    first = np.searchsorted(group, np.arange(len(hours)))
    spread = np.maximum.reduceat(padded, first) - np.minimum.reduceat(padded, first)
    step = np.abs(np.diff(padded[first], prepend=padded[first][:1]))
    alone = np.bincount(group, minlength=len(hours)) == 1
    spread = np.where(alone, step, spread)
    follows = np.append(False, np.diff(hours) == 1)
    # After a gap in the data the fan is taken to have gone on: a gap is not a stop.
    warm = np.where(follows, np.append(0.0, share[:-1]) == 1.0, True)
    return np.asarray((share == 1.0) & warm & (spread <= STEADY_SPEED_RANGE), dtype=bool)
