"""At which flow does a fan without an airflow point run, as pressure and load see it together?

A healthy fan keeps y = G(x) and z = F(x): pressure and torque over the square of speed trace one curve in
the plane of their logs, and a belt that slips moves the point along (1, 1), off the curve, by 2 ln k. So the
drive can be judged without an airflow: what the flow itself would move, along the slopes of both curves, is
left out of what a reading says, and the rest is held against the causes. Where the curve runs along (1, 1),
F/G is flat and nothing is left.
"""

from dataclasses import replace

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.model import Operating, Plant
from analytics.slopes import flow_slopes_at

# How far the flow coefficient of a fan may lie from its usual one: from a tenth open to wide open.
FLOW_COEFFICIENT_SD = 0.3
_MOST_MOVED = 0.12
_LEAST_EXPECTED = 0.02


def agreed_flow(
    theta: Floats,
    plant: Plant,
    hours: Operating,
    *,
    counted: Floats,
    hour_variance: Floats,
    usual: Floats,
    rounds: int,
) -> tuple[Operating, Floats]:
    """Move the flows of hours without an airflow reading to where pressure and load agree best.

    Parameters: `theta` (fans, SIZE); `plant`; `hours` (fans, hours), whose airflow is where to begin;
    `counted` (fans, hours, 2) 1 where pressure and load count; `hour_variance` (fans, 2) of their relative
    errors; `usual` (fans, hours) the flow of the usual flow coefficient; `rounds` of Gauss and Newton.
    Returns: the hours at the agreed flow, and the log slopes (fans, hours, 2) of pressure and load by it.
    Equation: minimise sum r^2 / s^2 + (ln q / q_usual)^2 / s_x^2 over ln q, r the relative residuals.
    Validity: F/G monotone around the usual flow.
    Source: weighted least squares, as in any text on it.
    """
    weight = np.where(counted > 0, 1.0 / hour_variance[:, None], 0.0)
    held = 1.0 / FLOW_COEFFICIENT_SD**2
    for _ in range(rounds):
        missed, slope = _missed_and_slope(theta, plant, hours)
        pulled = (weight * slope * missed).sum(axis=-1) - held * np.log(hours.airflow / usual)
        moved = pulled / ((weight * np.square(slope)).sum(axis=-1) + held)
        hours = replace(hours, airflow=hours.airflow * np.exp(np.clip(moved, -_MOST_MOVED, _MOST_MOVED)))
    return hours, _missed_and_slope(theta, plant, hours)[1]


def _missed_and_slope(theta: Floats, plant: Plant, hours: Operating) -> tuple[Floats, Floats]:
    here, slope, _ = expected_with_flow_slopes(theta, plant, hours)
    read = np.stack([hours.pressure, hours.load], axis=-1)
    return np.clip(read / here - 1.0, -0.9, 0.9), slope


def expected_with_flow_slopes(theta: Floats, plant: Plant, hours: Operating) -> tuple[Floats, Floats, Floats]:
    """Return what is expected of pressure and load, above nothing, and their log slopes by the flow.

    Parameters: `theta` (fans, SIZE); `plant`; `hours` (fans, hours). Returns: both (fans, hours, 2), and the
    motor's torque (fans, hours).
    """
    expected, pressure, load = flow_slopes_at(theta, plant, hours)
    found = np.stack([expected.pressure, expected.load], axis=-1)
    here = np.maximum(found, _LEAST_EXPECTED)
    slope = np.where(found > _LEAST_EXPECTED, np.stack([pressure, load], axis=-1), 0.0) / here
    return here, slope, expected.torque


def without_flow(precision: Floats, slope: Floats, is_free: Bools) -> Floats:
    """Take out of each hour's precision what its unknown flow would move.

    Parameters: `precision` (fans, hours, 2, 2) of pressure and load; `slope` (fans, hours, 2) of both by
    the log of airflow; `is_free` (fans,) whether a fan's flow is not measured. Returns: as `precision`.
    Equation: W - W m m' W / (1 / s_x^2 + m' W m), the inverse of W^-1 + s_x^2 m m'.
    Source: matrix inversion lemma (Sherman and Morrison).
    """
    free = slope * is_free[:, None, None]
    told = (precision @ free[..., None])[..., 0]
    strength = 1.0 / FLOW_COEFFICIENT_SD**2 + (told * free).sum(axis=-1)
    return np.asarray(precision - told[..., :, None] * told[..., None, :] / strength[..., None, None])
