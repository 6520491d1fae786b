"""What did each point say between its records: logs on change, and points logged at different times?"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.arrays import Bools, Floats, column

Integers = npt.NDArray[np.int64]

# All numbers of this block: common practice, no source.
MARK_S = 300
MOST_HOLD_S = 72_000.0  # 20 h: what a day may need from the one before it
CHANGING_HOLD_S = 7_200.0  # a sensor that reports nothing for two hours is silent, not constant
INTERVALS_HELD = 1.5  # of a point that is logged at an interval: a record missed is a gap
FEW_STEPS = 8
EVEN_SHARE = 0.5
EVEN_WITHIN = 0.10
FILLED_SHARE = 0.6
TOLD = ("speed_fraction", "run_status", "outdoor_air_damper_fraction")
"""Points that are told to the machine: they keep what they said until they say otherwise."""

SECOND_NS = 1_000_000_000
HOUR_NS = 3600 * SECOND_NS


def is_even(time_ns: Integers) -> bool:
    """Tell whether records come at an interval: at least half of the steps within a tenth of their median.

    Limits: fewer than three steps say nothing and are not even.
    Parameters: `time_ns`, distinct times in order [ns].
    """
    if len(time_ns) < 4:
        return False
    steps = np.diff(time_ns)
    middle = np.median(steps)
    return bool(np.mean(np.abs(steps - middle) <= EVEN_WITHIN * middle) >= EVEN_SHARE)


def needs_holding(time_ns: Integers, values: Floats) -> bool:
    """Tell whether a day's rows cannot be counted one by one: they would not weigh what lasted by its time.

    So it is where the rows do not come at an interval, or where a point that reported that day is absent
    from many of the rows: each row of another point would stand for a fan of which nothing is known.

    Parameters: `time_ns` of the rows, in order [ns]; `values` of shape (rows, points), NaN where a row does
    not speak of a point.
    """
    if len(time_ns) <= FEW_STEPS:
        return False
    if not is_even(time_ns):
        return True
    filled = np.count_nonzero(~np.isnan(values), axis=0)
    return bool(np.any((filled > 0) & (filled < FILLED_SHARE * len(time_ns))))


def held(
    readings: pd.DataFrame,
    start_ns: int,
    end_ns: int,
    points: Sequence[str],
    longest_s: Mapping[str, float],
) -> pd.DataFrame:
    """Return what each point said at every five minutes of a day and of the hour before it.

    A value holds until the point's next record: at an interval, one and a half of it; logged on change, two
    hours, and twenty for what is told to the machine (`TOLD`); `longest_s` says otherwise. Nothing is held
    past the day's last record of any point, which is a row of its own.

    Parameters: `readings` of one fan in order of `time` (UTC), from `MOST_HOLD_S` and an hour before the day
    to its end; `start_ns`, `end_ns` of the day [ns since 1970]; `points`, the columns that are held;
    `longest_s` by column [s].
    Returns: frame with `time` and the points, rows in order of time; none of a day without records.
    """
    time_ns = pd.DatetimeIndex(readings["time"]).as_unit("ns").asi8
    first, past = np.searchsorted(time_ns, [start_ns, end_ns])
    if first == past:
        return readings.iloc[:0]
    last = int(time_ns[past - 1])
    begin = -(-(start_ns - HOUR_NS) // (MARK_S * SECOND_NS)) * MARK_S * SECOND_NS
    marks = np.unique(np.append(np.arange(begin, last + 1, MARK_S * SECOND_NS), last))
    told: dict[str, Floats] = {}
    for name in points:
        values = column(readings, name)[:past]
        is_record: Bools = ~np.isnan(values)
        told[name] = _at_marks(
            time_ns[:past][is_record],
            values[is_record],
            marks,
            _longest(name, time_ns[first:past][is_record[first:]], longest_s),
        )
    frame = pd.DataFrame(told)
    frame.insert(0, "time", pd.to_datetime(marks, utc=True).as_unit("us"))
    return frame


def _longest(name: str, time_ns: Integers, longest_s: Mapping[str, float]) -> float:
    if name in longest_s:
        return min(longest_s[name], MOST_HOLD_S)
    if is_even(time_ns):
        return min(INTERVALS_HELD * float(np.median(np.diff(time_ns))) / SECOND_NS, MOST_HOLD_S)
    return MOST_HOLD_S if name in TOLD else CHANGING_HOLD_S


def _at_marks(time_ns: Integers, values: Floats, marks: Integers, longest_s: float) -> Floats:
    if not len(time_ns):
        return np.full(len(marks), np.nan)
    place = np.searchsorted(time_ns, marks, side="right") - 1
    record = np.maximum(place, 0)
    is_held = (place >= 0) & (marks - time_ns[record] <= longest_s * SECOND_NS)
    return np.where(is_held, values[record], np.nan)
