"""How tight must a belt be, how far does it give when it is, and how straight must its sheaves stand?"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats

# 1/64 in for each inch of span.
DEFLECTION_SHARE: Final = 1.0 / 64.0
# What a run-in belt may have over its least, and a new one that will stretch.
RUN_IN_ROOM: Final = 1.5
NEW_ROOM: Final = 2.0
_V_BELT_GRIP: Final = 0.5123
V_BELT_ALIGNMENT: Final = 0.1 / 12.0
SYNCHRONOUS_ALIGNMENT: Final = 0.0625 / 12.0


@dataclass(frozen=True, slots=True)
class StrandTension:
    """Tensions of all belts together [N]: `tight` and `slack` side at work, `standing` when stopped."""

    tight: Floats
    slack: Floats
    standing: Floats


def span_m(centre_distance_m: ArrayLike, motor_sheave_m: ArrayLike, wheel_sheave_m: ArrayLike) -> Floats:
    """Free length of a belt between its sheaves.

    Parameters: centre distance and both pitch diameters, any shape [m].
    Returns: span [m]; NaN where the sheaves would touch.
    Equation: sqrt(C^2 - ((D - d) / 2)^2).
    Source: geometry of the open belt; checked against the published case of 24 in with 12 and 4 in sheaves.
    """
    centre, small, large = as_floats(centre_distance_m), as_floats(motor_sheave_m), as_floats(wheel_sheave_m)
    is_drive = 2.0 * centre > small + large
    return np.where(is_drive, np.sqrt(np.maximum(centre**2 - np.square((large - small) / 2.0), 0.0)), np.nan)


def wrap_rad(centre_distance_m: ArrayLike, motor_sheave_m: ArrayLike, wheel_sheave_m: ArrayLike) -> Floats:
    """Angle that an open belt lies on its smaller sheave.

    Parameters: as for `span_m`. Returns: angle [rad], pi for equal sheaves.
    Equation: pi - 2 asin(|D - d| / (2 C)).
    Source: geometry of the open belt.
    """
    apart = np.abs(as_floats(wheel_sheave_m) - as_floats(motor_sheave_m))
    return np.pi - 2.0 * np.arcsin(np.clip(apart / (2.0 * as_floats(centre_distance_m)), 0.0, 1.0))


def strand_tension(
    power_w: ArrayLike, motor_rpm: ArrayLike, motor_sheave_m: ArrayLike, wrap: ArrayLike
) -> StrandTension:
    """Least tension at which V-belts carry a power.

    Parameters: `power_w`, `motor_rpm` at the motor's shaft [W, rpm]; `motor_sheave_m`, pitch diameter [m];
    `wrap` on the smaller sheave [rad]; any shape.
    Returns: `StrandTension`. The pull of the belt's own turning is left out: below 15 m/s it
    is a few per cent.
    Equation: Te = P / v, R = exp(0.5123 wrap), tight = Te R / (R - 1), slack = Te / (R - 1), standing their
    mean.
    Validity: V-belts of usual groove angle.
    Source: the V-belt form of the capstan equation in power-transmission handbooks, R = 5 at half a turn.
    """
    speed = np.pi * as_floats(motor_sheave_m) * as_floats(motor_rpm) / 60.0
    pull = as_floats(power_w) / speed
    grip = np.exp(_V_BELT_GRIP * as_floats(wrap))
    tight, slack = pull * grip / (grip - 1.0), pull / (grip - 1.0)
    return StrandTension(tight, slack, (tight + slack) / 2.0)


def deflection_m(span: ArrayLike) -> Floats:
    """How far the middle of a span is pressed to read its tension.

    Parameters: `span` [m]. Returns: deflection [m].
    Equation: span / 64.
    Source: US Army TM 5-4310-339-15 and the Plant Engineering Handbook: 1/64 in for each inch of span.
    """
    return as_floats(span) * DEFLECTION_SHARE


def deflection_force_n(standing_tension_n: ArrayLike) -> Floats:
    """Force at the middle of one belt's span that deflects it by a sixty-fourth of the span.

    A belt's own stiffness adds to it, most on short spans: the maker's table for the section goes before it.

    Parameters: `standing_tension_n` of that one belt, any shape [N]. Returns: force [N].
    Equation: F = 4 T q / L = T / 16 at q = L / 64: a string pressed at its middle.
    Source: statics; the deflection as for `deflection_m`.
    """
    return 4.0 * as_floats(standing_tension_n) * DEFLECTION_SHARE


def alignment_tolerance_m(distance_m: ArrayLike, is_synchronous: bool) -> Floats:
    """How far the faces of two sheaves may stand out of line over a distance.

    Parameters: `distance_m` between the shafts [m]; `is_synchronous`. Returns: offset [m].
    Equation: V-belts 1/10 in a foot (half a degree), synchronous belts 1/16 in a foot (0.3 degrees).
    Source: a belt maker's installation checklist; the drive's own manual goes first.
    """
    return as_floats(distance_m) * (SYNCHRONOUS_ALIGNMENT if is_synchronous else V_BELT_ALIGNMENT)
