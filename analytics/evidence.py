"""What would each cause have done to the readings of a day, and what was seen?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.day_reading import read_day
from analytics.explanations import movable
from analytics.judging import FanDay
from analytics.ledger import CAUSE_OF
from analytics.machine import Machine
from analytics.model import CAUSES, INDEX, Parameter, expect
from analytics.new_normal import with_normals
from analytics.vocabulary import Cause
from analytics.watch import CARRIED, watch

# These move the air itself: a control loop would answer by the command.
_MOVES_AIR = (Parameter.SLIP, Parameter.RATIO, Parameter.WHEEL, Parameter.SPEED_SCALE)


@dataclass(frozen=True, slots=True)
class Seen:
    """A day against the healthy curves: mean relative difference of pressure and load [%], hours used."""

    pressure_pct: float
    load_pct: float
    hours: int


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One cause at the size that fits the day best alone.

    `size_pct` of that cause; `pressure_pct` and `load_pct` it would have moved; `command_pct` by which a
    control loop holding the air would raise the command; `misfit` in standard deviations a day's
    difference is left with.
    """

    cause: Cause
    parameter: str
    size_pct: float
    pressure_pct: float
    load_pct: float
    command_pct: float
    misfit: float


def evidence(day: FanDay, curves: HealthyCurves, machine: Machine) -> tuple[Seen, tuple[EvidenceLine, ...]]:
    """Hold each cause alone against one fan's day, the best fit first.

    A day's view only, without what earlier days and priors say: the ledger's verdict weighs those too.

    Parameters: `day` of one fan; `curves`; `machine`. Returns: what was seen, and a line a cause.
    Equation: size = h' R^-1 r / h' R^-1 h for residuals r and slopes h of the cause, R with the error the
    hours share; misfit = sqrt(r' R^-1 r - size h' R^-1 r) where r is the day's mean difference.
    """
    constants = with_normals(watch(curves, machine), [day.normal])
    reading = read_day(curves.mean[None, [INDEX[name] for name in CARRIED]], constants, day.operating)
    pressure, load = _seen(day, curves, constants.normal) * constants.has[0]
    own = np.diag(curves.hour_covariance) / max(day.hours_used, 1)
    spread = np.sqrt(np.diag(curves.day_covariance) + own)
    lines = []
    moves = movable(machine, curves)
    for cause in CAUSES:
        index = CARRIED.index(cause)
        strength = float(reading.information[0, index, index])
        if cause not in moves or strength <= 0.0:
            continue
        size = float(reading.pull[0, index]) / strength
        moved = 100.0 * size * reading.effect[0, :, index]
        left = np.array([pressure - moved[0], load - moved[1]]) / 100.0
        misfit = float(np.sqrt(np.sum(np.square(left / spread))))
        command = 100.0 * size if cause is Parameter.SLIP else -100.0 * size
        if cause is Parameter.WHEEL:
            command = -float(moved[0]) / 2.0
        lines.append(
            EvidenceLine(
                CAUSE_OF[cause],
                cause.value,
                100.0 * size,
                float(moved[0]),
                float(moved[1]),
                command if cause in _MOVES_AIR else 0.0,
                misfit,
            )
        )
    return Seen(float(pressure), float(load), day.hours_used), tuple(
        sorted(lines, key=lambda line: line.misfit)
    )


def _seen(day: FanDay, curves: HealthyCurves, normal: Floats) -> Floats:
    hours = day.operating
    theta = curves.mean[None].copy()
    theta[:, [INDEX[name] for name in CARRIED]] += normal
    expected = expect(theta, curves.plant, hours)
    used = hours.is_used[0]
    if not used.any():
        return np.zeros(2)
    pressure = (hours.pressure[0] / np.maximum(expected.pressure[0], 0.02) - 1.0)[used]
    load = (hours.load[0] / np.maximum(expected.load[0], 0.02) - 1.0)[used]
    return 100.0 * np.array([pressure.mean(), load.mean()])
