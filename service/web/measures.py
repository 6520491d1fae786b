"""A number of a ledger row with its interval, and where that is drawn."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from config.epoch import FanEpoch
from service.web.drawing import Interval, drag_interval, interval


@dataclass(frozen=True, slots=True)
class Measure:
    """A number with its interval and its drawing."""

    centre: float
    low: float
    high: float
    drawing: Interval


def slip_measure(row: Mapping[str, Any] | None, epoch: FanEpoch) -> Measure | None:
    """Return slip at the reference torque with its interval, if the row has one."""
    numbers = _numbers(row, "slip_ref")
    if numbers is None:
        return None
    limits = epoch.limits
    return Measure(*numbers, interval(*numbers, limits.slip_watch_pct, limits.slip_act_pct))


def drag_measure(row: Mapping[str, Any] | None, epoch: FanEpoch) -> Measure | None:
    """Return the rise of drive loss beside slip with its interval, if the row has one."""
    numbers = _numbers(row, "drag_ref")
    if numbers is None:
        return None
    limits = epoch.limits
    drawn = drag_interval(*numbers, limits.drive_loss_rise_watch_pct, limits.drive_loss_rise_act_pct)
    return Measure(*numbers, drawn)


def _numbers(row: Mapping[str, Any] | None, name: str) -> tuple[float, float, float] | None:
    if row is None:
        return None
    centre, low, high = (row[f"{name}{end}_pct"] for end in ("", "_low", "_high"))
    if centre is None or low is None or high is None:
        return None
    return centre, low, high
