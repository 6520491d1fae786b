"""When was a drive lost or a commanded fan stopped: the changes that raw readings show, kept as rows."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from analytics.drive_lost import HourlyFindings, hourly_findings
from service.assess.lanes import Learned
from service.assess.periods import Stretch

LOST: Final = "drive_lost"
STOPPED: Final = "stopped"
UNFOLLOWED: Final = "unfollowed"


def fan_findings(learned: Sequence[Learned], hours: pd.DataFrame) -> HourlyFindings:
    """Return what each hour of a fan shows, judged by the curves that hold at the time.

    The healthy period teaches what a lost drive looks like, so nothing is decided before it is over.
    """
    dates = [dt.date.fromordinal(int(day)) for day in hours["day"]]
    parts = [_which(learned, date) for date in dates]
    names = HourlyFindings.__slots__
    whole = {name: np.zeros(len(hours), dtype=bool) for name in names}
    for number, part in enumerate(learned):
        mine = np.array([which == number for which in parts], dtype=bool)
        if not mine.any():
            continue
        found = hourly_findings(hours[mine].reset_index(drop=True), part.curves, part.stretch.epoch.machine)
        is_open = np.array([is_decided(part.stretch, date) for date in np.array(dates)[mine]], dtype=bool)
        for name in names:
            whole[name][mine] = getattr(found, name) & (is_open if name != "is_turning" else True)
    return HourlyFindings(**whole)


def _which(learned: Sequence[Learned], date: dt.date) -> int:
    holding = [
        i for i, part in enumerate(learned) if part.stretch.begins is None or part.stretch.begins <= date
    ]
    return holding[-1] if holding else 0


def is_decided(stretch: Stretch, date: dt.date) -> bool:
    """Tell whether findings of a date are told: after the healthy period, or where there is none."""
    return stretch.last is None or date > stretch.last


def changes(
    fan: str, hours: pd.DataFrame, found: HourlyFindings, before: dict[str, bool]
) -> list[dict[str, Any]]:
    """Return the rows at which a finding began or ended.

    An hour in which the fan neither turns nor is told to says nothing: a lost belt stays lost overnight.

    Parameters: `hours` and `found` in order of time; `before`, which findings held before them.
    """
    turning = found.is_turning
    topics = {
        LOST: (found.is_lost, turning & ~found.is_lost),
        STOPPED: (found.is_stopped, turning & ~found.is_stopped),
        UNFOLLOWED: (found.is_unfollowed, turning & hours["is_steady"].to_numpy(dtype=bool)),
    }
    rows = []
    times, decided = hours["time"], hours["last_reading"]
    for topic, (is_present, is_absent) in topics.items():
        held = before.get(topic, False)
        for i in np.flatnonzero(is_present | is_absent):
            if bool(is_present[i]) is held:
                continue
            held = bool(is_present[i])
            rows.append(
                {
                    "fan": fan,
                    "topic": topic,
                    "hour": times.iloc[i].to_pydatetime(),
                    "is_present": held,
                    "date": dt.date.fromordinal(int(hours["day"].iloc[i])),
                    "decided_at": decided.iloc[i].to_pydatetime(),
                }
            )
    return rows
