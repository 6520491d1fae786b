"""Which commands were held for a quarter of an hour, as in a step test?"""

import numpy as np
import numpy.typing as npt

from analytics.arrays import Bools, Floats

# A level is held this long, within so much, and lies this far from the one before (common practice).
LEAST_HELD_S = 540.0
LEVELS_APART = 0.05
LONGEST_GAP_S = 1200.0
_HELD_WITHIN = 0.015
_MOST_OF_AN_HOUR_S = 1800.0

Indices = npt.NDArray[np.intp]


def held_levels(
    time_s: Floats, speed: Floats, running: Bools, is_first: Bools | None = None
) -> tuple[Indices, Indices]:
    """Return where the readings of each held command begin and end (past the last), in order.

    Parameters: `time_s` (readings,) in order [s]; `speed` [1]; `running`; `is_first` where the readings of
    another fan begin.
    """
    if len(speed) == 0:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    with np.errstate(invalid="ignore"):
        is_same = np.abs(np.diff(speed)) <= _HELD_WITHIN
    is_same &= running[1:] & running[:-1] & (np.diff(time_s) <= LONGEST_GAP_S)
    if is_first is not None:
        is_same &= ~is_first[1:]
    begin = np.flatnonzero(np.append(True, ~is_same))
    end = np.append(begin[1:], len(speed))
    is_held = (time_s[end - 1] - time_s[begin] >= LEAST_HELD_S) & running[begin] & (end - begin > 2)
    return begin[is_held], end[is_held]


def count_levels(
    time_s: Floats, speed: Floats, running: Bools, group: Indices, is_first: Bools, size: int
) -> Floats:
    """Count the levels that each hour holds from beginning to end: three or more are a step test's.

    Parameters: readings as for `held_levels`; `group` (readings,) the number of their hour; `size` hours.
    """
    begin, end = held_levels(time_s, speed, running, is_first)
    # A level across the turn of an hour is counted where it began.
    is_short = time_s[end - 1] - time_s[begin] < _MOST_OF_AN_HOUR_S
    first = begin[is_short]
    step = np.abs(np.diff(speed[first], prepend=np.nan))
    fan = np.cumsum(is_first)[first]
    is_new = ~(step < LEVELS_APART) | (np.diff(fan, prepend=-1) != 0)
    return np.bincount(group[first], weights=is_new, minlength=size).astype(np.float64)
