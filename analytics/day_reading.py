"""What do a day's steady hours say of a fan's parameters, near a point?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats
from analytics.curve_fit import LOAD, load_spread
from analytics.information import hour_precision, information_by_parameter
from analytics.latent_airflow import latent_hours
from analytics.model import INDEX, Operating
from analytics.slopes import slopes_by_parameter
from analytics.unmeasured_airflow import without_flow
from analytics.watch import CARRIED, Watch
from analytics.wheel_speed import NO_WHEEL, DayWheel, wheel_information

_STRAY_DEVIATIONS = 2.5
_COLUMNS = [INDEX[name] for name in CARRIED]


@dataclass(frozen=True, slots=True)
class DayReading:
    """What a day's hours say near a point.

    `at` (fans, WIDTH); `information` and `pull` of it; `effect` (fans, 2, WIDTH), the day's mean relative
    change of pressure and of load by each parameter; `station` (fans, 2) that of the airflow reading by
    its gain and its zero; expectations of the hours, each (fans, hours).
    """

    at: Floats
    information: Floats
    pull: Floats
    effect: Floats
    station: Floats
    torque: Floats
    motor_speed: Floats
    load_ratio: Floats


def read_day(at: Floats, constants: Watch, hours: Operating, wheel: DayWheel = NO_WHEEL) -> DayReading:
    """Return what a day's hours say of the carried parameters near a point.

    Parameters: `at` (fans, WIDTH); `constants`; `hours` (fans, hours); `wheel` the wheel's own speed.
    Returns: `DayReading`, linearised there.
    """
    theta = constants.curve.copy()
    theta[:, _COLUMNS] = at + constants.normal
    counted = hours.is_used[..., None] * constants.has[:, None, :]
    hours, lowered, by_flow, torque = latent_hours(
        theta,
        constants.plant,
        hours,
        counted=counted,
        hour_variance=np.diagonal(constants.hour_covariance, axis1=1, axis2=2),
        airflow_noise=constants.airflow_noise,
        is_flow_free=constants.is_flow_free,
    )
    expected, slopes = slopes_by_parameter(theta, constants.plant, hours, CARRIED, torque)
    measured = np.stack([hours.pressure, hours.load], axis=-1)
    predicted = np.maximum(np.stack([expected.pressure, expected.load], axis=-1), 0.02)
    # Residuals are relative to what is read, as the expectation carries the airflow's noise, but held to
    # what is expected where the reading has gone astray.
    scale = np.clip(measured, 0.5 * predicted, 2.0 * predicted)
    residuals = np.where(counted > 0, (measured - predicted) / scale - lowered, 0.0)
    spread = np.ones_like(residuals)
    spread[..., LOAD] = load_spread(hours.speed, constants.plant.load_kind[:, None])
    weight = counted * _tame(residuals, counted, spread, constants)
    precision = hour_precision(constants.hour_covariance, weight, spread)
    precision = without_flow(precision, by_flow * predicted / scale, constants.is_flow_free)
    slopes /= np.ascontiguousarray(np.swapaxes(scale, 1, 2))[:, None]
    share = hours.is_used / np.maximum(hours.is_used.sum(axis=1, keepdims=True), 1)
    by_hour = slopes.reshape(len(slopes), -1, slopes.shape[-1])
    effect = (by_hour @ share[..., None]).reshape(slopes.shape[:-1]).swapaxes(1, 2)
    information, pull = information_by_parameter(slopes, residuals, precision, constants.day_covariance)
    if not np.isnan(wheel.log_ratio).all():
        more, pulled = wheel_information(theta, constants.plant, hours, wheel, CARRIED)
        information, pull = information + more, pull + pulled
    return DayReading(
        at,
        information,
        pull,
        effect * constants.has[..., None],
        _station(hours),
        expected.torque,
        expected.motor_speed,
        expected.load_ratio,
    )


def _station(hours: Operating) -> Floats:
    # A zero adds to the square of the flow: it moves the reading most at the day's lowest flow.
    lowest = np.where(hours.is_used, hours.airflow, np.inf).min(axis=1)
    zero = np.where(np.isfinite(lowest), 0.5 / np.square(np.maximum(lowest, 0.05)), 0.0)
    return np.stack([np.ones_like(zero), zero], axis=1)


def _tame(residuals: Floats, counted: Floats, spread: Floats, constants: Watch) -> Floats:
    # An hour is stray against its day's middle, not against yesterday: a whole day that differs is news.
    is_counted = counted > 0
    ordered = np.sort(np.where(is_counted, residuals, np.inf), axis=1)
    number = is_counted.sum(axis=1, keepdims=True)
    middle = np.take_along_axis(ordered, np.maximum((number - 1) // 2, 0), axis=1)
    middle = np.where(number > 0, middle, 0.0)
    own = np.sqrt(np.diagonal(constants.hour_covariance, axis1=1, axis2=2))[:, None, :] * spread
    away = np.where(is_counted, np.abs(residuals - middle), 0.0) / own
    return np.asarray(np.minimum(1.0, _STRAY_DEVIATIONS / np.maximum(away, 1e-9)))
