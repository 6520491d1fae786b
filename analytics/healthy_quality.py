"""How good is a healthy period: enough hours, enough range, stable, and the belt tight in it?"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.day_hours import day_wheel, lane_hours, packed_day
from analytics.day_reading import read_day
from analytics.hidden import hidden
from analytics.machine import Machine
from analytics.model import CAUSES, Operating, Parameter
from analytics.scaled_hours import ScaledHours
from analytics.state import start
from analytics.watch import CARRIED, stack_watches, watch
from analytics.wheel_speed import stack_wheels

# Common practice, no source.
LEAST_HOURS = 150
# A station's noise alone spreads the flow coefficient by 15 %.
_LEAST_X_SPAN = 1.20
_LEAST_DAYS = 8
_MATERIAL_DRIFT = 0.01
_MATERIAL_SLIP = 0.015
_SURE = 4.0
_MOST_DAYS = 60
_SLIP, _DRAG = CAUSES.index(Parameter.SLIP), CAUSES.index(Parameter.DRAG)


class Flaw(StrEnum):
    """What a healthy period may lack."""

    FEW_HOURS = "few_hours"
    NARROW = "narrow"
    SLIP_GROWS = "slip_grows"
    DRAG_GROWS = "drag_grows"
    SLIPPING = "slipping"


@dataclass(frozen=True, slots=True)
class Quality:
    """A flaw of a healthy period and its size: hours, ratio of greatest to least, or per cent."""

    flaw: Flaw
    size: float


def healthy_quality(
    curves: HealthyCurves, machine: Machine, hours: ScaledHours, day: Floats
) -> tuple[Quality, ...]:
    """Return what a healthy period lacks, none where it is sound.

    Growth within the period is told by the slope of each day's own slip and drag over the days, against
    their scatter; a belt that slips already by what its hours of high torque lose beyond those of low
    torque, as far as the curves leave that open.

    Parameters: `curves` learned from it; `machine`; its `hours` and their `day` (hours,).
    """
    found = []
    if curves.hours < LEAST_HOURS:
        found.append(Quality(Flaw.FEW_HOURS, float(curves.hours)))
    span = curves.greatest_x / max(curves.least_x, 1e-6)
    if span < _LEAST_X_SPAN and curves.is_at_one_speed:
        found.append(Quality(Flaw.NARROW, max(span, curves.greatest_speed / curves.least_speed)))
    return (*found, *_of_the_belt(curves, machine, hours, day))


def _of_the_belt(
    curves: HealthyCurves, machine: Machine, hours: ScaledHours, day: Floats
) -> tuple[Quality, ...]:
    if not curves.channels.tells_causes:
        return ()
    dates, information, pull = _daily(curves, machine, hours, day)
    if len(dates) < _LEAST_DAYS:
        return ()
    found = []
    scale = {_SLIP: 1.0, _DRAG: curves.reference_torque}
    moves = [(_DRAG, Flaw.DRAG_GROWS)] if curves.channels.has_load else []
    moves += [(_SLIP, Flaw.SLIP_GROWS)] if machine.drive.can_slip else []
    for cause, flaw in moves:
        growth = _growth(dates, information[:, cause, cause], pull[:, cause]) / scale[cause]
        if growth > _MATERIAL_DRIFT:
            found.append(Quality(flaw, 100.0 * growth))
    slip = _already_slipping(curves, machine, information.sum(axis=0), pull.sum(axis=0))
    if slip > _MATERIAL_SLIP:
        found.append(Quality(Flaw.SLIPPING, 100.0 * slip))
    return tuple(found)


def _daily(
    curves: HealthyCurves, machine: Machine, hours: ScaledHours, day: Floats
) -> tuple[Floats, Floats, Floats]:
    constants, at = watch(curves, machine), start(curves, machine).mean[:, 0]
    dates = np.unique(day[hours.is_steady])
    dates = dates[:: max(len(dates) // _MOST_DAYS, 1)]
    if len(dates) == 0:
        size = len(CARRIED)
        return dates, np.zeros((0, size, size)), np.zeros((0, size))
    packed, wheels = [], []
    lane = lane_hours(hours, curves)
    for date in dates:
        one = lane.some(day == date)
        packed.append(packed_day(one))
        wheels.append(day_wheel(one, curves, packed[-1]))
    # The days of one fan, read side by side as those of a batch of fans are.
    every = Operating(
        *(np.concatenate([getattr(one, name) for one in packed]) for name in Operating.__slots__)
    )
    count = len(dates)
    reading = read_day(
        at.repeat(count, axis=0), stack_watches([constants] * count), every, stack_wheels(wheels)
    )
    return dates, reading.information, reading.pull


def _growth(dates: Floats, information: Floats, pull: Floats) -> float:
    # Each day's own estimate, weighted by what it says; the scatter about the line says how sure it is.
    is_told = information > 0.0
    if is_told.sum() < _LEAST_DAYS:
        return 0.0
    date, weight = dates[is_told], information[is_told]
    value = pull[is_told] / weight
    away = date - np.average(date, weights=weight)
    strength = float((weight * np.square(away)).sum())
    slope = float((weight * away * value).sum()) / max(strength, 1e-12)
    missed = value - np.average(value, weights=weight) - slope * away
    scatter = float((weight * np.square(missed)).sum()) / max(len(value) - 2, 1)
    error = np.sqrt(max(scatter, 1e-12) / max(strength, 1e-12))
    return slope * float(np.ptp(date)) if slope > _SURE * error else 0.0


def _already_slipping(curves: HealthyCurves, machine: Machine, information: Floats, pull: Floats) -> float:
    open_to = np.linalg.inv(np.linalg.inv(hidden(curves, machine).prior[0]) + information)
    slip, sd = float(open_to[_SLIP] @ pull), float(np.sqrt(open_to[_SLIP, _SLIP]))
    return slip if slip > _SURE * sd else 0.0
