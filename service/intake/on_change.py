"""Which points of an export were logged on change: their records keep no interval."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from analytics.holding import FEW_STEPS, is_even
from service.intake.series import Series
from service.intake.zones import Times

_NAMED: Final = 5


def logged_on_change(series: Mapping[str, Series]) -> str:
    """Say which points were logged on change, blank where none was; their values are kept as exported."""
    even_of: dict[int, bool] = {}  # many points share their times
    found = []
    for name, one in series.items():
        if id(one.times_us) not in even_of:
            even_of[id(one.times_us)] = _comes_at_an_interval(one.times_us)
        if not even_of[id(one.times_us)]:
            found.append(name)
    if not found:
        return ""
    more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    return f"logged on change, each value held until the next: {', '.join(found[:_NAMED])}{more}"


def _comes_at_an_interval(times_us: Times) -> bool:
    if len(times_us) <= FEW_STEPS:
        return True
    steps = np.diff(times_us)
    return bool(np.all(steps == steps[0])) or is_even(times_us)
