"""How far does a belt slip at a torque, given how far it slips at the reference torque?"""

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


def slip_above_creep(load_ratio: Floats, slip: Floats, steepness: Floats) -> tuple[Floats, Floats]:
    """Return a belt's slip above its healthy creep at a torque, and by how much it grows with the torque.

    One number says how loose the belt is: its slip at the reference torque. As tension falls the creep
    grows first, in proportion to torque; then the knee comes down to the reference torque and passes it.

    Parameters: `load_ratio`, torque over the reference torque; `slip` at the reference torque;
    `steepness`, the log of the slip per torque above the knee; all of shapes that broadcast.
    Returns: slip, and its slope by `load_ratio`.
    Equation: s(t) = a t + c w ln(1 + exp((t - t_k) / w)), a = A (1 - exp(-D / A)) for D > 0, else D;
    c = exp(steepness), and the knee t_k such that s(1) = D.
    Validity: torques up to 1.3 of the reference; slip between -50 and 90 %.
    Source: straight below the knee and steep above it as in any text on belts (physics: creep, then the
    loss of grip of the capstan equation); its numbers are common practice, no source.
    """
    per_torque = np.exp(np.clip(steepness, *STEEPNESS_RANGE))
    grown = -CREEP_GROWTH * np.expm1(-np.maximum(slip, 0.0) / CREEP_GROWTH)
    straight = np.where(slip > 0.0, grown, slip)
    scale = per_torque * KNEE_WIDTH
    past = np.maximum(slip - straight, _NOTHING) / scale
    away = (load_ratio - 1.0) / KNEE_WIDTH + past + np.log(-np.expm1(-past))
    small = np.exp(-np.abs(away))
    bent = np.maximum(away, 0.0) + np.log1p(small)
    slope = straight + per_torque * (np.where(away > 0.0, 1.0, small) / (1.0 + small))
    # Exactly nothing of nothing, so that a healthy fan has the same bits beside a slipping one.
    found = np.where(slip != 0.0, straight * load_ratio + scale * bent, 0.0)
    return np.clip(found, _LEAST_SLIP, MOST_SLIP), slope


def slip_slopes(load_ratio: Floats, slip: Floats, steepness: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the slopes of a belt's slip above its healthy creep by torque, by its number and by steepness.

    Parameters and validity: as for `slip_above_creep`. Returns: slopes by `load_ratio`, by `slip` and by
    `steepness`; of a belt that does not slip, those of a first trace of slip.
    Equation: with straight part a(D), past = (D - a) / (c w), u = (t - 1) / w + past + ln(1 - exp(-past)) and
    s = a t + c w ln(1 + e^u): s_t = a + c S(u), s_D = a' t + S(u) (1 - a') / (1 - exp(-past)) and
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
        is_slipping * (straight + per_torque * logistic),
        is_free * (by_slip * load_ratio + logistic * (1.0 - by_slip) / gone),
        is_slipping * (held == steepness) * (bent - scale * logistic * past / gone),
    )
