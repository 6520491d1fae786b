"""What did the fan do in each hour: steady means, stopped zeros and the hour's latest readings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.arrays import Bools, Floats, column
from analytics.held_levels import count_levels
from analytics.machine import Machine
from analytics.rounding import settled
from analytics.running import CLEAR_OF_A_TIE, is_running, is_told_to_run, seen_moving

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
SECOND_NS = 1_000_000_000

Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Part:
    """Which readings are of one fan while one row of fans.csv holds: from `begin` to before `end`."""

    begin: int
    end: int
    machine: Machine


def operating_points(
    readings: pd.DataFrame, machine: Machine, utc_offset_s: int | Integers = 0
) -> pd.DataFrame:
    """Reduce one fan's readings to hourly operating points: `fleet_points` of one part."""
    frame, _ = fleet_points(readings, [Part(0, len(readings), machine)], utc_offset_s)
    return frame


def fleet_points(
    readings: pd.DataFrame, parts: Sequence[Part], utc_offset_s: int | Integers = 0
) -> tuple[pd.DataFrame, Integers]:
    """Reduce the readings of several fans to hourly operating points, each part for itself.

    An hour is steady when the fan ran at every reading of it and of the hour before (the first hour
    after a stop is cold) and its speed stayed within a tenth. Means are over running readings;
    `stopped_*` are the sensors' zeros, `late_*` the latter half of the hour's readings, running or
    not, on which a lost drive is decided before the hour is over. They decide only where the fan was
    told to run at each of them and at the reading before: `late_is_told`.

    Parameters: `readings`, part after part, each sorted by `time` (UTC), columns of the readings table, any
    of the measured ones absent; `parts` in that order; `utc_offset_s` of the plant's clock, one or one a
    reading [s], so that hours begin where the plant's do and none reaches past midnight.
    Returns: frame with `time` (the hour's start, UTC), `readings`, `running` (share), `is_steady`,
    the measured columns, `late_*`, `stopped_*`, `stopped` (count), `levels` (commands held for a quarter of
    an hour) and `last_reading`, rows in order of part and time, none for an hour without readings; and the
    number of each row's part.
    """
    time = pd.DatetimeIndex(readings["time"])
    is_first = np.zeros(len(time), dtype=bool)
    is_first[[part.begin for part in parts if part.end > part.begin]] = True
    start = hour_start_ns(time, utc_offset_s)
    begins = np.flatnonzero(is_first | (np.diff(start, prepend=start[:1]) != 0))
    hours, size = start[begins], len(begins)
    count = np.diff(np.append(begins, len(time)))
    group = np.repeat(np.arange(size), count)
    follows = np.append(False, np.diff(hours) == HOUR_NS)[:size] & ~is_first[begins]
    silent = np.full(len(time), np.nan)
    values = {
        name: column(readings, name) if name in readings else silent
        for name in dict.fromkeys((*MEASURED, *LATE))
    }
    running, told = _running_and_told(values, parts)
    share = np.bincount(group[running], minlength=size) / count
    late = np.arange(len(group)) >= (begins + count // 2)[group]
    points: dict[str, npt.NDArray[np.generic]] = {"readings": count.astype(np.float64), "running": share}
    for prefix, names, is_counted in (
        ("", MEASURED, running),
        ("late_", LATE, late),
        ("stopped_", STOPPED, ~running),
    ):
        which = np.flatnonzero(is_counted)
        for name in names:
            is_read = name in readings
            points[f"{prefix}{name}"] = (
                _mean(values[name][which], group[which], size) if is_read else np.full(size, np.nan)
            )
    points["stopped"] = np.bincount(group[~running], minlength=size).astype(np.float64)
    points["is_steady"] = _steady(follows, share, values["speed_fraction"], begins, count)
    points["late_is_told"] = _late_told(told, late, group, follows)
    seconds = time.as_unit("us").asi8 / 1e6
    points["levels"] = count_levels(seconds, values["speed_fraction"], running, group, is_first, size)
    last = begins + count - 1
    frame = pd.DataFrame(
        {
            "time": pd.DatetimeIndex(hours.view("datetime64[ns]")).tz_localize("UTC").as_unit("us"),
            **points,
            "last_reading": time[last].as_unit("us"),
        }
    )
    return frame, np.searchsorted([part.end for part in parts], begins, side="right")


def _running_and_told(values: dict[str, Floats], parts: Sequence[Part]) -> tuple[Bools, Bools]:
    size = len(values["speed_fraction"])
    running, told = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
    for part in parts:
        inside = slice(part.begin, part.end)
        mine = {name: whole[inside] for name, whole in values.items()}
        is_moving = seen_moving(
            mine["pressure_pa"],
            mine["airflow_m3s"],
            mine["motor_speed_rpm"],
            mine["wheel_speed_rpm"],
            part.machine,
        )
        running[inside] = is_running(
            mine["speed_fraction"],
            mine["current_a"],
            mine["power_w"],
            mine["run_status"],
            part.machine,
            is_moving,
        )
        told[inside] = is_told_to_run(mine["speed_fraction"], running[inside], part.machine)
    return running, told


def hour_start_ns(time: pd.DatetimeIndex, utc_offset_s: int | Integers = 0) -> Integers:
    """Return the start of the plant's hour that holds each time [ns since 1970, UTC].

    Parameters: `time` (UTC); `utc_offset_s` of the plant's clock, one or one a time [s].
    """
    phase = np.asarray(utc_offset_s, dtype=np.int64) * SECOND_NS % HOUR_NS
    return np.asarray((time.as_unit("ns").asi8 + phase) // HOUR_NS * HOUR_NS - phase, dtype=np.int64)


def _mean(values: Floats, group: npt.NDArray[np.intp], size: int) -> Floats:
    is_known = ~np.isnan(values)
    if not is_known.all():
        values, group = values[is_known], group[is_known]
    number = np.bincount(group, minlength=size)
    total = np.bincount(group, weights=values, minlength=size)
    mean: Floats = np.divide(total, number, out=np.full(size, np.nan), where=number > 0)
    return settled(mean)


def _steady(
    follows: Bools,
    share: Floats,
    speed: Floats,
    first: npt.NDArray[np.intp],
    count: npt.NDArray[np.intp],
) -> Bools:
    if len(first) == 0:
        return np.zeros(0, dtype=bool)
    # One reading an hour says nothing of the hour's range: its distance from the hour before stands in.
    spread = np.fmax.reduceat(speed, first) - np.fmin.reduceat(speed, first)
    step = np.where(follows, np.abs(np.diff(speed[first], prepend=np.nan)), 0.0)
    spread = np.where(count == 1, step, spread)
    # After a gap in the data the fan is taken to have gone on: a gap is not a stop.
    warm = np.where(follows, np.append(0.0, share[:-1]) == 1.0, True)
    is_level = ~(spread > STEADY_SPEED_RANGE * CLEAR_OF_A_TIE)
    return np.asarray((share == 1.0) & warm & is_level, dtype=bool)


def _late_told(told: Bools, late: Bools, group: npt.NDArray[np.intp], follows: Bools) -> Bools:
    # The reading before counts too, from this hour or the one before: a fan that was told to run only at
    # the last reading may not have begun to move.
    is_near = np.append(False, (group[1:] == group[:-1]) | follows[group[1:]])
    before = np.where(is_near, np.append(False, told[:-1]), True)
    untold = np.bincount(group, weights=late & ~(told & before), minlength=len(follows))
    return np.asarray(untold == 0, dtype=bool)
