"""Which points are not what the schedule calls them? Their behaviour tells.

A set point stays where it is when the fan stops; a building's pressure knows nothing of the fan; an
outdoor-air station or the sum of several fans goes its own ways; an airflow computed from speed and pressure
follows them better than any measurement could, and says nothing of its own. A real pressure that a loop holds
is noisy, and falls when the fan stops: it is not refused.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from sklearn.linear_model import LinearRegression
from sklearn.preprocessing import PolynomialFeatures

from analytics.arrays import Bools, Floats, column
from analytics.machine import Machine
from analytics.vocabulary import Role

# Common practice, no source, where nothing else is said: the levels are far from what sound sensors do.
_LEAST_HOURS = 24
_LEAST_STOPPED_HOURS = 6
# An hour's mean of a real sensor differs from the hour before; a set point's does not.
_SAME = 1e-6
_UNMOVED_SHARE = 0.8
# Of the running pressure, what a sound sensor has left while the fan stands, drafts and neighbours included.
_MOST_LEFT_PRESSURE = 0.6
_MOST_LEFT_AIRFLOW = 0.25
_MOST_BUILDING_PA = 30.0
_MOST_SIGN_CHANGES = 0.05
# A station and its duct wander by a few per cent about what speed, pressure and load say.
_MOST_UNEXPLAINED = 0.10
_LEAST_UNEXPLAINED = 0.0025
_LEAST_UNEXPLAINED_SHARE = 0.25
_LEAST_SPREAD = 0.002
_MOST_UNEXPLAINED_PRESSURE = 0.25
_STRAY = 3.0


@dataclass(frozen=True, slots=True)
class Refusal:
    """A point not used, and why, as a sentence that can follow its column's name."""

    role: Role
    reason: str


def refused_points(hours: pd.DataFrame, machine: Machine) -> tuple[Refusal, ...]:
    """Return the pressure and airflow points of a fan that behave as no such point of a fan can.

    Parameters: `hours`, operating points of the healthy period; `machine`.
    Returns: a refusal a role at most; none where too few hours tell.
    """
    steady = hours["is_steady"].to_numpy(dtype=bool)
    speed = column(hours, "speed_fraction")
    is_known = ~np.isnan(speed)
    if is_known.sum() > 0:
        steady = steady & is_known & (speed > 0.1)
    if steady.sum() < _LEAST_HOURS:
        return ()
    speed = np.where(is_known, speed, 1.0)
    refusals = []
    pressure = _pressure_reason(hours, steady, speed)
    if pressure:
        refusals.append(Refusal(Role.PRESSURE, pressure))
    airflow = _shared_airflow(machine) or _airflow_reason(
        hours, steady, speed, is_pressure_sound=not pressure
    )
    if airflow and ~np.isnan(column(hours, "airflow_m3s")[steady]).all():
        refusals.append(Refusal(Role.AIRFLOW, airflow))
    return tuple(refusals)


def without(hours: pd.DataFrame, refusals: tuple[Refusal, ...]) -> pd.DataFrame:
    """Return the hours as if the refused points were not there."""
    columns = {Role.PRESSURE: "pressure_pa", Role.AIRFLOW: "airflow_m3s"}
    blank = {columns[one.role]: np.nan for one in refusals}
    return hours.assign(**blank, **{f"stopped_{name}": np.nan for name in blank}) if blank else hours


def _shared_airflow(machine: Machine) -> str:
    if not machine.is_airflow_shared:
        return ""
    return "is shared with another fan: what it reads is not this fan's alone"


def _pressure_reason(hours: pd.DataFrame, steady: Bools, speed: Floats) -> str:
    pressure = column(hours, "pressure_pa")
    at_work = steady & ~np.isnan(pressure)
    running = pressure[at_work]
    if len(running) < _LEAST_HOURS:
        return ""
    stopped = column(hours, "stopped_pressure_pa")
    stopped = stopped[~np.isnan(stopped)]
    usual, scatter = float(np.median(running)), float(np.std(running))
    knows_stops = len(stopped) >= _LEAST_STOPPED_HOURS
    left = float(np.median(stopped)) if knows_stops else 0.0
    is_unmoved = _unmoved_share(running) > _UNMOVED_SHARE
    is_left = knows_stops and abs(left) > _MOST_LEFT_PRESSURE * abs(usual) and left * usual > 0.0
    if is_unmoved and (is_left or not knows_stops):
        return "stays at one value, running or not: a set point, not a pressure"
    if abs(usual) < _MOST_BUILDING_PA:
        changes_sign = float(np.mean(running * usual < 0.0)) > _MOST_SIGN_CHANGES
        feels_nothing = knows_stops and abs(usual - left) < max(scatter, 0.3 * abs(usual))
        coefficient = np.log(np.maximum(np.abs(running), 0.1) / np.square(speed[at_work]))
        terms = _explaining(hours, np.full(len(hours), np.nan), speed, at_work)
        goes_own_ways = _unexplained(coefficient, terms) > _MOST_UNEXPLAINED_PRESSURE
        if changes_sign or feels_nothing or goes_own_ways:
            return "knows nothing of the fan and is as small as a building's pressure"
    return ""


def _unmoved_share(values: Floats) -> float:
    steps = np.abs(np.diff(values))
    return float(np.mean(steps <= _SAME * np.maximum(np.abs(values[1:]), 1e-9)))


def _airflow_reason(hours: pd.DataFrame, steady: Bools, speed: Floats, *, is_pressure_sound: bool) -> str:
    flow = column(hours, "airflow_m3s")
    at_work = steady & ~np.isnan(flow) & (flow > 0.0)
    if at_work.sum() < _LEAST_HOURS:
        return ""
    if _unmoved_share(flow[at_work]) > _UNMOVED_SHARE:
        return "stays at one value while the fan works"
    usual = float(np.median(flow[at_work]))
    stopped = column(hours, "stopped_airflow_m3s")
    stopped = stopped[~np.isnan(stopped)]
    left = float(np.median(stopped)) / usual if len(stopped) >= _LEAST_STOPPED_HOURS else 0.0
    if left > _MOST_LEFT_AIRFLOW:
        return f"reads {100.0 * left:.0f} % of its usual flow while the fan stands: several fans in sum"
    pressure = column(hours, "pressure_pa") if is_pressure_sound else np.full(len(hours), np.nan)
    coefficient = flow[at_work] / speed[at_work]
    if _is_computed(coefficient, pressure[at_work], speed[at_work]):
        return "follows speed and pressure more closely than a measurement can: it is computed from them"
    own = _unexplained(np.log(coefficient), _explaining(hours, pressure, speed, at_work))
    if own > _MOST_UNEXPLAINED:
        return (
            f"goes its own ways: {100.0 * own:.0f} % of it is told by neither speed nor pressure nor load, "
            "as of an outdoor-air station or of several fans in sum"
        )
    return ""


def _is_computed(coefficient: Floats, pressure: Floats, speed: Floats) -> bool:
    is_read = ~np.isnan(pressure)
    if is_read.sum() < _LEAST_HOURS:
        return False
    head = np.abs(pressure[is_read]) / np.square(speed[is_read])
    value = coefficient[is_read] / np.median(coefficient[is_read])
    spread = _spread(value)
    if spread < _LEAST_SPREAD:
        return False
    # Even where the air hardly varies, the noise of the pressure is found again in what is computed from it.
    limit = min(_LEAST_UNEXPLAINED, _LEAST_UNEXPLAINED_SHARE * spread)
    return _unexplained(value, [head / np.median(head)], is_robust=False) < limit


def _explaining(hours: pd.DataFrame, pressure: Floats, speed: Floats, at_work: Bools) -> list[Floats]:
    found = []
    read = [np.abs(pressure), *(column(hours, name) for name in ("torque_fraction", "power_w", "current_a"))]
    powers = (2.0, 2.0, 3.0, 2.0)
    for values, power in zip(read, powers, strict=True):
        of_work = values[at_work]
        if np.isnan(of_work).any() or not (of_work > 0.0).all():
            continue
        found.append(np.log(of_work / speed[at_work] ** power))
    found.append(np.log(speed[at_work]))
    return found


def _unexplained(value: Floats, terms: list[Floats], *, is_robust: bool = True) -> float:
    # Least squares on the terms, their squares and products; strays drawn in once.
    centred = [term - np.median(term) for term in terms if _spread(term) > 1e-4]
    of_hours = np.stack([np.zeros_like(value), *centred], axis=1)
    terms_of_hours = PolynomialFeatures(degree=2).fit_transform(of_hours)
    target = value
    for _ in range(2):
        surface = LinearRegression().fit(terms_of_hours, target)
        missed = np.asarray(target - surface.predict(terms_of_hours))
        if not is_robust:
            break
        reach = _STRAY * _spread(missed) + 1e-12
        target = target - (missed - np.clip(missed, -reach, reach))
    return _spread(missed) if is_robust else float(np.std(missed))


def _spread(values: Floats) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values))))
