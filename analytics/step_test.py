"""Was a step test made: five commands held for a quarter of an hour each, from slow to full speed?

The trade's own remedy where a healthy period is too narrow. Its hours are no steady hours, so its levels are
read by themselves.
"""

import numpy as np
import pandas as pd

from analytics.arrays import Bools, Floats, column
from analytics.held_levels import LEVELS_APART, LONGEST_GAP_S, Indices, held_levels
from analytics.machine import Machine
from analytics.operating_points import operating_points

# A test has so many levels, so far apart. Five from 40 to 100 % is common practice; no source.
_LEAST_LEVELS = 4
_LEAST_SPAN = 0.4
# The first third of a level is the way to it.
_SETTLING_SHARE = 1.0 / 3.0
_LONGEST_LEVEL_S = 2700.0


def step_test_points(readings: pd.DataFrame, running: Bools, machine: Machine) -> pd.DataFrame:
    """Return the levels of step tests as operating points, each a steady one, none without a test.

    Parameters: `readings`, one fan, in order of `time`; `running` (readings,); `machine`.
    Returns: rows as of `operating_points`, `time` the hour each level began in, `is_steady` true; an empty
    frame without a test.
    """
    time_s = pd.DatetimeIndex(readings["time"]).as_unit("us").asi8 / 1e6
    speed = column(readings, "speed_fraction")
    begin, end = held_levels(time_s, speed, running)
    rows = [
        _level(readings.iloc[_settled(time_s, int(first), int(past)) : int(past)], machine)
        for test in _tests(time_s, speed, begin, end)
        for first, past in test
    ]
    return pd.concat(rows, ignore_index=True) if rows else pd.DataFrame()


def _tests(time_s: Floats, speed: Floats, begin: Indices, end: Indices) -> list[list[tuple[int, int]]]:
    tests: list[list[tuple[int, int]]] = []
    for first, past in zip(begin.tolist(), end.tolist(), strict=True):
        is_long = time_s[past - 1] - time_s[first] > _LONGEST_LEVEL_S
        before = tests[-1][-1] if tests and tests[-1] else None
        follows = before is not None and time_s[first] - time_s[before[1] - 1] <= LONGEST_GAP_S
        is_step = before is not None and abs(speed[first] - speed[before[0]]) >= LEVELS_APART
        if is_long:
            tests.append([])
        elif follows and is_step:
            tests[-1].append((first, past))
        else:
            tests.append([(first, past)])
    return [test for test in tests if _is_test([float(speed[first]) for first, _ in test])]


def _is_test(levels: list[float]) -> bool:
    return len(levels) >= _LEAST_LEVELS and max(levels) - min(levels) >= _LEAST_SPAN


def _settled(time_s: Floats, first: int, past: int) -> int:
    settled = time_s[first] + _SETTLING_SHARE * (time_s[past - 1] - time_s[first])
    return first + int(np.searchsorted(time_s[first:past], settled))


def _level(readings: pd.DataFrame, machine: Machine) -> pd.DataFrame:
    # Moved together into the hour it began in, a level is one operating point.
    time = pd.DatetimeIndex(readings["time"])
    hour = time[0].floor("h")
    moved = readings.assign(time=hour + (time - time[0])).reset_index(drop=True)
    return operating_points(moved, machine).assign(is_steady=True)
