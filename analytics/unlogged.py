"""Did slip go away though nobody says that a belt was touched? Belts do not heal."""

import datetime as dt
from collections.abc import Sequence
from statistics import mean
from typing import Final

_HELD_DAYS: Final = 3
_AROUND: Final = dt.timedelta(days=10)
_PART_GONE: Final = 0.5


def unlogged_recovery(
    counted: Sequence[tuple[dt.date, float]],
    services: Sequence[dt.date],
    watch_pct: float,
    healthy_pct: float,
) -> dt.date | None:
    """Return the first day after slip went away without a logged service, None where it did not.

    Parameters: `counted`, judged days in order with slip at the reference torque [%]; `services`, dates of
    work that ends slip; `watch_pct` limit and `healthy_pct` slip of a sound belt.
    Returns: the date of the latest such recovery: three judged days in a row at or above the limit, then
    at once three below it with at least half of what was too much gone, and no work within ten days of it.
    Validity: judged days no more than ten days apart there. The numbers are ours, as `analytics.recovery` has
    them.
    """
    for i in range(len(counted) - _HELD_DAYS, _HELD_DAYS - 1, -1):
        before, after = counted[i - _HELD_DAYS : i], counted[i : i + _HELD_DAYS]
        # Most days never passed the limit, and an exact mean costs more than all else of them.
        if not all(value >= watch_pct for _, value in before):
            continue
        day = after[0][0]
        was = mean(value for _, value in before)
        goal = was - _PART_GONE * (was - healthy_pct)
        fell = all(value < watch_pct and value <= goal for _, value in after)
        is_close = day - before[-1][0] <= _AROUND
        if fell and is_close and not any(abs(day - service) <= _AROUND for service in services):
            return day
    return None
