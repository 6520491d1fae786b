"""What can be seen of a drive with the points it has, how small a slip, and which point would help most?"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.day_hours import day_wheel, lane_hours, packed_day
from analytics.day_reading import read_day
from analytics.hidden import hidden, unseen_deviations
from analytics.machine import Machine
from analytics.model import CAUSES, LoadKind, Parameter
from analytics.scaled_hours import Channels, ScaledHours
from analytics.state import start
from analytics.vocabulary import Role
from analytics.watch import watch

# A slip shows when a week's reading of it lies this many of its deviations from none: one chance in forty of
# a false one, and one in ten to miss it.
_SHOWS_DEVIATIONS = 3.2
_WEEK = 7.0
_SLIP = CAUSES.index(Parameter.SLIP)


class Seen(StrEnum):
    """What a fan's readings can tell of its drive, the most first."""

    SLIP_AND_DRAG = "slip_and_drag"
    SLIP = "slip"
    NET = "net"
    EXCESS = "excess"
    LOST = "lost"
    NOTHING = "nothing"

    @property
    def is_judged(self) -> bool:
        """Whether a day can be judged, and not only a lost drive be told."""
        return self not in (Seen.LOST, Seen.NOTHING)


@dataclass(frozen=True, slots=True)
class Sight:
    """What can be seen of a fan.

    `seen`; `least_slip_pct` the smallest slip at the reference torque that shows within a week of days like
    the healthy ones, None where none does; `best_point` the one point more that would help most, None where
    nothing is missing.
    """

    seen: Seen
    least_slip_pct: float | None
    best_point: Role | None


def seen_of(channels: Channels) -> Seen:
    """Tell what readings can say of the drive."""
    if channels.has_wheel_speed or (channels.has_airflow and channels.has_pressure):
        return Seen.SLIP_AND_DRAG if channels.has_load else Seen.SLIP
    if channels.tells_causes:
        return Seen.NET
    if channels.has_load:
        return Seen.EXCESS
    return Seen.LOST if channels.sees_anything else Seen.NOTHING


def sight(curves: HealthyCurves, machine: Machine, hours: ScaledHours, day: Floats) -> Sight:
    """Return what can be seen of a fan, from its own curves, noise and healthy days.

    Parameters: `curves`; `machine`; the steady `hours` of the healthy period and their `day` (hours,).
    Returns: `Sight`.
    """
    channels = curves.channels
    seen = seen_of(channels)
    least = _least_slip(curves, machine, hours, day) if _shows_slip(seen) and machine.drive.can_slip else None
    return Sight(seen, least, best_point(channels))


def _shows_slip(seen: Seen) -> bool:
    return seen in (Seen.SLIP_AND_DRAG, Seen.SLIP, Seen.NET)


def best_point(channels: Channels) -> Role | None:
    """Return the point more that would narrow slip and drag most.

    The wheel's own speed says more than all others, but few fans have it: it is named where nothing that
    most systems can trend is missing.
    """
    wanted = (
        (channels.has_load, Role.POWER),
        (channels.has_pressure, Role.PRESSURE),
        (channels.has_airflow or channels.has_wheel_speed, Role.AIRFLOW),
        (channels.load_kind is not LoadKind.CURRENT, Role.POWER),
        (channels.knows_density, Role.AIR_TEMPERATURE),
        (channels.has_wheel_speed, Role.WHEEL_SPEED),
    )
    return next((role for is_there, role in wanted if not is_there), None)


def _least_slip(curves: HealthyCurves, machine: Machine, hours: ScaledHours, day: Floats) -> float | None:
    dates, counts = np.unique(day[hours.is_steady], return_counts=True)
    if len(dates) == 0:
        return None
    # The healthy day with the usual number of hours stands for the week.
    usual = dates[np.argsort(counts, kind="stable")[len(counts) // 2]]
    one = lane_hours(hours, curves).some(day == usual)
    packed = packed_day(one)
    constants = watch(curves, machine)
    at = start(curves, machine).mean[:, 0]
    reading = read_day(at, constants, packed, day_wheel(one, curves, packed))
    left = unseen_deviations(hidden(curves, machine), reading.information, _WEEK)
    return float(100.0 * _SHOWS_DEVIATIONS * np.sqrt(left[0, _SLIP, _SLIP]))
