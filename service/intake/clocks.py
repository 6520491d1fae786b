"""Does a source's clock keep time? Seen across its files: how far the newest record lies behind each file.

The bounds are common practice, without a source.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from service.intake.zones import SECOND_US

_FILES: Final = 6  # that show how a source usually writes
_LOOKED_AT: Final = 30
_USUAL_MIN: Final = 10.0  # files come about as late after their newest record each time
_STEP_MIN: Final = 25.0
_DRIFT_MIN: Final = 4.0
_DRIFT_WAVER_MIN: Final = 1.0
_MINUTE_US: Final = 60 * SECOND_US
_DAY_MIN: Final = 24 * 60.0


def clock_trouble(earlier: Sequence[tuple[int, int]], newest_us: int, written_us: int) -> str:
    """Return what an export shows of its source's clock beside the earlier ones, blank where nothing.

    Parameters: `earlier`, newest record and time of writing of each earlier export [us since 1970].
    """
    known = sorted(pair for pair in earlier if pair[1] and pair[1] < written_us)[-_LOOKED_AT:]
    if len(known) < _FILES or not written_us:
        return ""
    times = np.array([*known, (newest_us, written_us)], dtype=np.int64)
    lag_min = (times[:, 1] - times[:, 0]) / _MINUTE_US
    usual = lag_min[:-1]
    step = float(lag_min[-1] - np.median(usual[-_FILES:]))
    if np.ptp(usual[-_FILES:]) <= _USUAL_MIN and abs(step) >= _STEP_MIN:
        where = "earlier" if step > 0 else "later"
        return (
            f"its newest record is {abs(step):.0f} min {where} against the file's own time than in the last "
            f"{_FILES} files of this source: a clock may have been set, or files come at another time"
        )
    days = (times[:, 1] - times[0, 1]) / _MINUTE_US / _DAY_MIN
    if days[-1] < 1.0:
        return ""
    slope, level = np.polyfit(days, lag_min, 1)
    waver = float(np.abs(lag_min - level - slope * days).max())
    total = float(slope * days[-1])
    if abs(total) < _DRIFT_MIN or waver > _DRIFT_WAVER_MIN:
        return ""
    where = "slow" if slope > 0 else "fast"
    span = f"{days[-1]:.0f} days of this source's files"
    return f"its clock seems to run {where}: by {abs(total):.0f} min over {span}"
