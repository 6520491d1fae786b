"""Has a point stood still since before this export? Seen across files, by what the readings already hold."""

import datetime as dt
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.intake.mapping import PointMap, Target
from service.intake.plausible import FLAT_VALUES, SENSED, is_flat
from service.intake.series import Series
from service.intake.zones import DAY_US, Times
from service.store.readings import from_microseconds

_LOOK_BACK_US: Final = 7 * DAY_US

# What is held of a fan's column in [start, end): times in order, and values in SI.
Held = Callable[[str, str, int, int], tuple[Times, NDArray[np.float64]]]


def stuck_points(series: dict[str, Series], points: PointMap, held: Held) -> list[str]:
    """Return which points of an export say one value all through it and for long enough before it.

    Limits: looks back a week, and only for points whose export says too little by itself.
    """
    found: dict[str, None] = {}
    for point, one in series.items():
        if not 0 < len(one.values) < FLAT_VALUES or not is_flat(one.values):
            continue
        for target in points.targets[point]:
            if target.role in SENSED and target.machine is not None:
                sentence = _since_before(one, target, held)
                if sentence:
                    found[f"{point!r}: {sentence}"] = None
    return list(found)


def _since_before(one: Series, target: Target, held: Held) -> str:
    first = int(one.times_us[0])
    times, values = held(target.fan, target.column, first - _LOOK_BACK_US, first)
    others = np.flatnonzero(values != target.to_si(one.values[:1])[0] + 0.0)
    begin = int(others[-1]) + 1 if others.size else 0
    count = len(values) - begin + len(one.values)
    if begin == len(values) or count < FLAT_VALUES:
        return ""
    since = from_microseconds(int(times[begin]))
    days = (from_microseconds(int(one.times_us[-1])) - since) / dt.timedelta(days=1)
    return f"{count} values over {days:.1f} days, in several files, are {one.values[0]:g}: flat or stuck"
