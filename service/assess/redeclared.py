"""What does a later row of fans.csv without a healthy period of its own change about how days are judged?"""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analytics.machine import Machine
from analytics.tachometer import nominal_ratio
from analytics.vocabulary import Work
from config.epoch import FanEpoch
from config.service_log import ServiceEntry

# Who writes the schedule and who keeps the log do not do it on one day.
_SAME_WORK: Final = dt.timedelta(days=30)
_OF_THE_MOTOR: Final = (
    "motor_rated_power_w",
    "motor_type",
    "motor_count",
    "motor_volts",
    "motor_rated_current_a",
    "motor_rpm",
)
# What the healthy curves and the reading of the points rest on, by the words of fans.csv.
_OF_THE_CURVES: Final = {
    "drive": "drive",
    "duty": "duty",
    "fan_type": "fan_type",
    "motor_hz": "motor_hz",
    "speed_control": "speed_control",
    "is_slip_compensated": "slip_compensation",
    "speed_signal": "speed_signal",
    "pressure_location": "pressure_location",
    "airflow_basis": "airflow_basis",
    "current_at": "current_at",
    "power_at": "power_at",
}


@dataclass(frozen=True, slots=True)
class Redeclared:
    """What a fan's day learns from the row of fans.csv that begins to hold on it.

    `works` the work it shows that no one logged; `log_ratio` by which the sheaves' declared ratio changed.
    """

    works: tuple[Work, ...] = ()
    log_ratio: float = 0.0


def redeclared(
    before: FanEpoch | None, epoch: FanEpoch, date: dt.date, done: Sequence[ServiceEntry], since: int
) -> Redeclared:
    """Return what the first day under a row shows against the row before it.

    Parameters: `done`, the fan's entries so far in order; `since` the place of the first that the day before
    did not know. Sheaves and motors scale what is read, so that the healthy curves still serve.
    """
    if before is None or before.row == epoch.row:
        return Redeclared()
    earlier = {entry.work for entry in done[:since] if date - entry.date <= _SAME_WORK}
    now = {entry.work for entry in done[since:]}
    works: list[Work] = []
    old, new = nominal_ratio(before.machine), nominal_ratio(epoch.machine)
    log_ratio = 0.0
    # Sheaves logged earlier are being learned already: their declaration comes too late to help.
    if old is not None and new is not None and old != new and Work.SHEAVE_CHANGED not in earlier:
        log_ratio = math.log(new / old)
        works += [Work.SHEAVE_CHANGED]
    if _differs(before.machine, epoch.machine, _OF_THE_MOTOR) and Work.MOTOR_REPLACED not in earlier:
        works += [Work.MOTOR_REPLACED]
    return Redeclared(tuple(work for work in works if work not in now), log_ratio)


def unused_words(healthy: FanEpoch, epoch: FanEpoch) -> str:
    """Say in a day's note which facts of the row in force are not used, blank where all are.

    Parameters: `healthy`, the row whose healthy period judges the day; `epoch` in force.
    """
    if healthy.row == epoch.row or healthy.valid_from == epoch.valid_from:
        return ""
    facts = [
        word for name, word in _OF_THE_CURVES.items() if _differs(healthy.machine, epoch.machine, (name,))
    ]
    if not facts:
        return ""
    return (
        f"fans.csv from {epoch.valid_from} says another {', '.join(facts)}, unknown to the healthy period: "
        "judged as before until that row has its baseline_from and baseline_to"
    )


def _differs(old: Machine, new: Machine, names: Sequence[str]) -> bool:
    return any(getattr(old, name) != getattr(new, name) for name in names)
