"""How far does a belt slip at a torque, given how far it slips at the reference torque?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats

# Log of the slip per torque above the knee.
STEEPNESS_RANGE = (-3.5, 0.7)
# How much of the reference torque the knee takes to bend.
KNEE_WIDTH = 0.08
# By how much creep grows at most before the belt passes its knee.
CREEP_GROWTH = 0.006
MOST_SLIP = 0.9
_LEAST_SLIP = -0.5
_NOTHING = 1e-12
# Past this a belt slips all it may at any torque; its exponential stays within what a number holds.
_MOST_PAST = 700.0


@dataclass(frozen=True, slots=True)
class BeltLaw:
    """How a belt of one looseness slips at any torque; every field has the shape of what it was made of.

    `straight` slip per torque below the knee and `per_torque` above it; `bend` the slip that the knee takes;
    `loosened` how far past its knee the belt is at the reference torque, as the exponential takes it;
    `is_slipping` 1 where it slips at all.
    """

    straight: Floats
    per_torque: Floats
    bend: Floats
    loosened: Floats
    is_slipping: Floats


def belt_law(slip: Floats, steepness: Floats) -> BeltLaw:
    """Return the law of belts that slip so far at the reference torque.

    Parameters, equation, validity and source: as for `slip_above_creep`.
    """
    per_torque = np.exp(np.clip(steepness, *STEEPNESS_RANGE))
    grown = -CREEP_GROWTH * np.expm1(-np.maximum(slip, 0.0) / CREEP_GROWTH)
    straight = np.where(slip > 0.0, grown, slip)
    bend = per_torque * KNEE_WIDTH
    past = np.maximum(slip - straight, _NOTHING) / bend
    # Exactly nothing of nothing, so that a healthy fan has the same bits beside a slipping one.
    is_slipping = np.where(slip != 0.0, 1.0, 0.0)
    return BeltLaw(straight, per_torque, bend, np.expm1(np.minimum(past, _MOST_PAST)), is_slipping)


def slip_by(law: BeltLaw, load_ratio: Floats) -> tuple[Floats, Floats]:
    """Return the slip above the healthy creep by a belt's law at a torque, and its slope by the torque.

    Parameters, equation, validity and source: as for `slip_above_creep`.
    """
    risen = np.exp((load_ratio - 1.0) / KNEE_WIDTH) * law.loosened
    found = (law.straight * load_ratio + law.bend * np.log1p(risen)) * law.is_slipping
    slope = (law.straight + law.per_torque * (risen / (1.0 + risen))) * law.is_slipping
    return np.minimum(np.maximum(found, _LEAST_SLIP), MOST_SLIP), slope


def slip_above_creep(load_ratio: Floats, slip: Floats, steepness: Floats) -> tuple[Floats, Floats]:
    """Return a belt's slip above its healthy creep at a torque, and by how much it grows with the torque.

    One number says how loose the belt is: its slip at the reference torque. As tension falls the creep
    grows first, in proportion to torque; then the knee comes down to the reference torque and passes it.

    Parameters: `load_ratio`, torque over the reference torque; `slip` at the reference torque;
    `steepness`, the log of the slip per torque above the knee; all of shapes that broadcast.
    Returns: slip, and its slope by `load_ratio`.
    Equation: s(t) = a t + c w ln(1 + exp((t - t_k) / w)), a = A (1 - exp(-D / A)) for D > 0, else D;
    c = exp(steepness), and the knee t_k such that s(1) = D: exp((1 - t_k) / w) = exp((D - a) / (c w)) - 1.
    Validity: torques up to 1.3 of the reference; slip between -50 and 90 %.
    Source: straight below the knee and steep above it as in any text on belts (physics: creep, then the
    loss of grip of the capstan equation); its numbers are common practice, no source.
    """
    return slip_by(belt_law(slip, steepness), load_ratio)


def mean_slip_above_creep(load_ratio: Floats, share: Floats, slip: Floats, steepness: Floats) -> Floats:
    """Return a day's mean slip above the healthy creep under several explanations of it.

    Parameters: `load_ratio` and `share` of the mean (fans, hours); `slip` and `steepness`
    (fans, explanations). Returns: (fans, explanations).
    Equation, validity and source: as for `slip_above_creep`.
    """
    law = belt_law(slip, steepness)
    # One exponential an hour and one an explanation: their product is that of every hour under each.
    found = np.exp((load_ratio - 1.0) / KNEE_WIDTH)[:, None] * law.loosened[..., None]
    np.log1p(found, out=found)
    found *= law.bend[..., None]
    found += law.straight[..., None] * load_ratio[:, None]
    np.maximum(found, _LEAST_SLIP, out=found)
    np.minimum(found, MOST_SLIP, out=found)
    return np.asarray((found @ share[..., None])[..., 0] * law.is_slipping)


def slip_slopes(load_ratio: Floats, slip: Floats, steepness: Floats) -> tuple[Floats, Floats]:
    """Return the slopes of a belt's slip above its healthy creep by its number and by steepness.

    Parameters and validity: as for `slip_above_creep`. Returns: slopes by `slip` and by `steepness`; of a
    belt that does not slip, those of a first trace of slip.
    Equation: with straight part a(D), past = (D - a) / (c w), u = (t - 1) / w + past + ln(1 - exp(-past)) and
    s = a t + c w ln(1 + e^u): s_D = a' t + S(u) (1 - a') / (1 - exp(-past)) and
    s_ln c = c w (ln(1 + e^u) - S(u) past / (1 - exp(-past))), S the logistic function.
    Source: differentiation of `slip_above_creep`.
    """
    held = np.clip(steepness, *STEEPNESS_RANGE)
    per_torque = np.exp(held)
    above = np.maximum(slip, 0.0)
    straight = np.where(slip > 0.0, -CREEP_GROWTH * np.expm1(-above / CREEP_GROWTH), slip)
    by_slip = np.exp(-above / CREEP_GROWTH)
    scale = per_torque * KNEE_WIDTH
    past = np.maximum(slip - straight, _NOTHING) / scale
    gone = -np.expm1(-past)
    away = (load_ratio - 1.0) / KNEE_WIDTH + past + np.log(gone)
    small = np.exp(-np.abs(away))
    logistic = np.where(away > 0.0, 1.0, small) / (1.0 + small)
    bent = scale * (np.maximum(away, 0.0) + np.log1p(small))
    found = straight * load_ratio + bent
    is_free = (found > _LEAST_SLIP) & (found < MOST_SLIP)
    is_slipping = is_free & (slip != 0.0)
    return (
        is_free * (by_slip * load_ratio + logistic * (1.0 - by_slip) / gone),
        is_slipping * (held == steepness) * (bent - scale * logistic * past / gone),
    )
