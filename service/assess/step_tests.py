"""The step tests of a healthy period, read from the readings where the hours say that there was one."""

import datetime as dt
from typing import Final

import numpy as np
import pandas as pd

from analytics.machine import Machine
from analytics.running import is_running
from analytics.step_test import step_test_points
from service.store.tables_read import TablesRead

_HOUR: Final = dt.timedelta(hours=1)
# So many commands held in one hour are a step test's, and no control's.
_LEVELS: Final = 3


def with_step_tests(tables: TablesRead, fan: str, hours: pd.DataFrame, machine: Machine) -> pd.DataFrame:
    """Return a fan's hours with each level of its step tests as a steady hour more, in order of time."""
    begun = hours.loc[hours["levels"] >= _LEVELS, "time"]
    # Two hours in a row are one test.
    starts = begun[~(begun.diff() <= 2 * _HOUR)]
    found = [_levels(tables, fan, hours, start, machine) for start in starts]
    found = [part for part in found if not part.empty]
    if not found:
        return hours
    return pd.concat([hours, *found], ignore_index=True).sort_values("time", kind="stable", ignore_index=True)


def _levels(
    tables: TablesRead, fan: str, hours: pd.DataFrame, start: pd.Timestamp, machine: Machine
) -> pd.DataFrame:
    readings = tables.read_readings([fan], start - _HOUR, start + 3 * _HOUR)
    speed, current, power, status = (
        readings[name].to_numpy(dtype=np.float64)
        for name in ("speed_fraction", "current_a", "power_w", "run_status")
    )
    found = step_test_points(readings, is_running(speed, current, power, status, machine), machine)
    if found.empty:
        return found
    beside = hours.set_index("time").reindex(pd.DatetimeIndex(found["time"]), method="ffill")
    rest = [name for name in hours.columns if name not in found.columns]
    return found.assign(**{name: beside[name].to_numpy() for name in rest})[list(hours.columns)]
