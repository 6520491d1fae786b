"""What does a healthy fan do here: its two curves, learned from the healthy period, with their errors."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from sklearn.linear_model import HuberRegressor

from analytics.arrays import Bools, Floats
from analytics.information import day_information, hour_precision
from analytics.machine import Machine
from analytics.model import (
    CURVE,
    INDEX,
    SIZE,
    LoadKind,
    Operating,
    Parameter,
    Plant,
    expect,
    linearise,
)
from analytics.motor import no_load_fraction_prior
from analytics.priors import (
    CURVE_SHAPES,
    DUCT_BEND_SHIFT,
    DUCT_SLOPE_SHIFT,
    FLUX_EXPONENT,
    FRICTION,
    NO_LOAD_SD_MEASURED,
    PATH_TREND_SD,
    SLIP_EXPONENT,
)
from analytics.scaled_hours import Channels, ScaledHours, rated_motor_slip
from analytics.statistics import cv_rmse, nmbe
from analytics.vocabulary import MotorType, PressureLocation, SpeedControl

LEAST_HOURS = 24
HOURS_A_DAY = 25
PINNED_SD = 1e-5
LEVEL_SD = 0.5
PRESSURE, LOAD = 0, 1

_CURVE_FIRST = INDEX[Parameter.PRESSURE_LEVEL]
_ROBUST_SCALE = 1.5
_START_SD = 0.02
# What no healthy period shows: the model is not the fan. Floors of the shared error of a day.
_LEAST_HOUR_SD = (0.004, 0.004)
_LEAST_DAY_SD = (0.0025, 0.003)
_FLUX_STARTS = (0.0, 0.5, 1.0)
# Amps say little of torque below this speed; their spread is widened, not clipped.
WEAK_CURRENT_SPEED = 0.45


class TooLittleHealthyDataError(ValueError):
    """The healthy period does not hold what a healthy curve needs; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class HealthyCurves:
    """One fan's healthy curves and their errors.

    `mean` (SIZE,) and `covariance` (curve parameters squared) in the model's parameters;
    `hour_covariance`, `day_covariance` (2, 2) of relative pressure and load; scales in SI;
    `pressure_sign`; `reference_torque` [of rated]; `least_x`, `greatest_x` the fitted range of the
    flow coefficient over its scale; `stopped_pressure_pa` and `stopped_airflow_m3s` as mean and
    standard deviation over days, NaN where never stopped; `wheel_ratio` wheel over motor speed.
    """

    channels: Channels
    mean: Floats
    covariance: Floats
    hour_covariance: Floats
    day_covariance: Floats
    airflow_scale_m3s: float
    pressure_scale_pa: float
    pressure_sign: float
    rated_slip: float
    reference_torque: float
    least_x: float
    greatest_x: float
    least_speed: float
    greatest_speed: float
    stopped_pressure_pa: tuple[float, float]
    stopped_airflow_m3s: tuple[float, float]
    wheel_ratio: float
    hours: int
    days: int
    pressure_cv_rmse: float
    load_cv_rmse: float
    pressure_nmbe: float
    load_nmbe: float

    @property
    def plant(self) -> Plant:
        """The model's constants, as a batch of one."""
        return Plant(
            np.array([self.rated_slip]),
            np.array([float(self.channels.load_kind)]),
            np.array([self.reference_torque]),
        )


def fit_curves(hours: ScaledHours, day: Floats, machine: Machine, channels: Channels) -> HealthyCurves:
    """Fit a fan's healthy curves to the steady hours of its healthy period.

    Maximum a posteriori fit of both curves, friction, flux law and magnetising current at once, robust
    against stray hours; covariance with the errors that a day's hours share. The belt's healthy creep is
    part of the curves.

    Parameters: `hours` of the healthy period; `day` (hours,) an integer a plant day; `machine`;
    `channels`. Returns: `HealthyCurves`. Raises: TooLittleHealthyDataError.
    """
    keep = hours.is_steady & (hours.speed > 0.15)
    if not channels.has_airflow:
        raise TooLittleHealthyDataError("no airflow point: without it only the total power can be followed")
    if not (channels.has_pressure or channels.load_kind is not LoadKind.NONE):
        raise TooLittleHealthyDataError("neither pressure nor current, power or torque is trended")
    if keep.sum() < LEAST_HOURS:
        raise TooLittleHealthyDataError(
            f"{int(keep.sum())} steady hours in the healthy period; {LEAST_HOURS} are the least"
        )
    motor_slip = rated_motor_slip(machine, channels)
    operating, scales = _scaled(hours, keep, channels, motor_slip)
    prior_mean, prior_sd = _prior(machine, channels, operating)
    plant = Plant(np.array([motor_slip]), np.array([float(channels.load_kind)]), np.array([1.0]))
    age = (day[keep] - day[keep][0]).astype(np.float64)
    is_loading = channels.has_pressure and machine.pressure_location is not PressureLocation.ACROSS_FAN
    trend_sd = PATH_TREND_SD if is_loading else PINNED_SD
    problem = _Problem(operating, plant, prior_mean, prior_sd, channels, age, trend_sd)
    mean, trend = _fit(problem)
    residuals, fitted = _residuals(mean, trend, problem)
    reference = float(np.percentile(fitted.torque[0], 95))
    plant = Plant(plant.rated_slip, plant.load_kind, np.array([reference]))
    days = day[keep]
    hour_covariance, day_covariance = _error_covariances(residuals, days)
    covariance = _covariance(
        mean, prior_sd, plant, operating, days, hour_covariance, day_covariance, channels
    )
    x = operating.airflow[0] / fitted.motor_speed[0]
    pressure = operating.pressure[0]
    free = int((prior_sd[_CURVE_FIRST:] > 10 * PINNED_SD).sum())
    parameters = min(free // 2, len(pressure) - 2)
    return HealthyCurves(
        channels,
        mean,
        covariance,
        hour_covariance,
        day_covariance,
        scales[0],
        scales[1],
        scales[2],
        motor_slip,
        reference,
        float(np.percentile(x, 1)),
        float(np.percentile(x, 99)),
        float(np.percentile(operating.speed, 1)),
        float(np.percentile(operating.speed, 99)),
        _zero(hours.stopped_pressure_pa, day),
        _zero(hours.stopped_airflow_m3s, day),
        float(np.nanmedian(hours.wheel_ratio[keep])) if channels.has_wheel_speed else np.nan,
        int(keep.sum()),
        len(np.unique(days)),
        cv_rmse(pressure, fitted.pressure[0], parameters),
        cv_rmse(operating.load[0], fitted.load[0], parameters),
        nmbe(pressure, fitted.pressure[0], parameters),
        nmbe(operating.load[0], fitted.load[0], parameters),
    )


def _scaled(
    hours: ScaledHours, keep: Bools, channels: Channels, motor_slip: float
) -> tuple[Operating, tuple[float, float, float]]:
    speed = hours.speed[keep]
    motor_speed = speed - 0.7 * motor_slip * speed**2
    airflow_scale = float(np.median(hours.airflow_m3s[keep] / motor_speed))
    density = hours.density[keep]
    pressure = hours.pressure_pa[keep]
    sign, pressure_scale = 1.0, 1.0
    if channels.has_pressure:
        coefficient = pressure / (density * motor_speed**2)
        sign = -1.0 if float(np.median(coefficient)) < 0 else 1.0
        pressure_scale = max(abs(float(np.median(coefficient))), 1e-6)
    load = hours.load[keep]
    operating = Operating(
        speed[None],
        hours.airflow_m3s[keep][None] / airflow_scale,
        density[None],
        np.where(np.isnan(pressure), 1.0, sign * pressure / pressure_scale)[None],
        np.where(np.isnan(load), 1.0, load)[None],
        np.ones((1, len(speed)), dtype=bool),
    )
    return operating, (airflow_scale, pressure_scale, sign)


def _prior(machine: Machine, channels: Channels, operating: Operating) -> tuple[Floats, Floats]:
    shape = CURVE_SHAPES[machine.fan_type]
    slope, slope_sd = shape.pressure_slope
    bend, bend_sd = shape.pressure_bend
    if machine.pressure_location is not PressureLocation.ACROSS_FAN:
        slope, slope_sd = slope + DUCT_SLOPE_SHIFT[0], float(np.hypot(slope_sd, DUCT_SLOPE_SHIFT[1]))
        bend, bend_sd = bend + DUCT_BEND_SHIFT[0], float(np.hypot(bend_sd, DUCT_BEND_SHIFT[1]))
    torque = np.median(operating.load / (operating.density * operating.speed**2))
    no_load, no_load_sd = _no_load_prior(machine)
    values = {
        Parameter.SLIP_EXPONENT: (SLIP_EXPONENT[0], 0.0),
        Parameter.PRESSURE_LEVEL: (0.0, LEVEL_SD),
        Parameter.PRESSURE_SLOPE: (slope, slope_sd),
        Parameter.PRESSURE_BEND: (bend, bend_sd),
        Parameter.TORQUE_LEVEL: (float(np.log(np.clip(torque, 0.05, 3.0))), LEVEL_SD),
        Parameter.TORQUE_SLOPE: shape.torque_slope,
        Parameter.TORQUE_BEND: shape.torque_bend,
        Parameter.FRICTION: FRICTION,
        Parameter.FLUX_EXPONENT: FLUX_EXPONENT,
        Parameter.NO_LOAD_CURRENT: (no_load, no_load_sd),
    }
    mean, sd = np.zeros(SIZE), np.full(SIZE, PINNED_SD)
    for name, (centre, width) in values.items():
        mean[INDEX[name]], sd[INDEX[name]] = centre, max(width, PINNED_SD)
    for name in _pinned(machine, channels):
        sd[INDEX[name]] = PINNED_SD
    if Parameter.FLUX_EXPONENT in _pinned(machine, channels):
        mean[INDEX[Parameter.FLUX_EXPONENT]] = 0.0
    return mean, sd


def _no_load_prior(machine: Machine) -> tuple[float, float]:
    rated = machine.motor_rated_current_a
    if machine.motor_no_load_current_a is not None and rated:
        return machine.motor_no_load_current_a / rated, NO_LOAD_SD_MEASURED
    mean, sd = no_load_fraction_prior(machine.motor_rated_power_w)
    return float(mean), float(sd)


def _pinned(machine: Machine, channels: Channels) -> set[Parameter]:
    pinned: set[Parameter] = set()
    if not channels.has_pressure:
        pinned |= {Parameter.PRESSURE_LEVEL, Parameter.PRESSURE_SLOPE, Parameter.PRESSURE_BEND}
    if channels.load_kind is LoadKind.NONE:
        pinned |= {Parameter.TORQUE_LEVEL, Parameter.FRICTION}
    if channels.load_kind is not LoadKind.CURRENT:
        pinned |= {Parameter.NO_LOAD_CURRENT}
    is_fluxed = machine.motor_type is MotorType.INDUCTION and machine.speed_control is SpeedControl.VFD
    if not is_fluxed or (
        channels.load_kind is not LoadKind.CURRENT and not rated_motor_slip(machine, channels)
    ):
        pinned |= {Parameter.FLUX_EXPONENT}
    return pinned


@dataclass(frozen=True, slots=True)
class _Problem:
    operating: Operating
    plant: Plant
    mean: Floats
    sd: Floats
    channels: Channels
    age: Floats
    trend_sd: float


def _fit(problem: _Problem) -> tuple[Floats, float]:
    # A filter loads within the healthy period too: its daily rise is fitted beside the curves, which
    # then are those of the period's first day.
    mean, sd = problem.mean, problem.sd
    started = _robust_start(problem)
    free = np.flatnonzero(sd > 10 * PINNED_SD)
    spread = load_spread(problem.operating.speed, problem.plant.load_kind[:, None])[0]
    flux = INDEX[Parameter.FLUX_EXPONENT]
    starts = _FLUX_STARTS if flux in free else (float(mean[flux]),)
    lower = np.full(len(free) + 1, -np.inf)
    lower[:-1][free == INDEX[Parameter.FRICTION]] = 0.0

    def spelled(values: Floats) -> tuple[Floats, float]:
        theta = started.copy()
        theta[free] = values[:-1]
        return theta, float(values[-1]) * problem.trend_sd

    def miss(values: Floats) -> Floats:
        residuals, _ = _residuals(*spelled(values), problem)
        data = residuals / _START_SD
        believed = (values[:-1] - mean[free]) / sd[free]
        return np.concatenate([data[:, PRESSURE], data[:, LOAD] / spread, believed, values[-1:]])

    found = []
    for start in starts:
        first = started.copy()
        first[flux] = start
        guess = np.append(first[free], 0.0)
        found.append(
            least_squares(miss, guess, loss="soft_l1", f_scale=_ROBUST_SCALE, bounds=(lower, np.inf))
        )
    return spelled(min(found, key=lambda fit: float(fit.cost)).x)


def _robust_start(problem: _Problem) -> Floats:
    # A Huber line through the logs keeps stray hours out of the first guess of the pressure curve.
    operating, plant, mean, sd = problem.operating, problem.plant, problem.mean, problem.sd
    start = mean.copy()
    if not problem.channels.has_pressure:
        return start
    speed = operating.speed[0] - 0.7 * plant.rated_slip[0] * operating.speed[0] ** 2
    u = np.log(operating.airflow[0] / speed)
    y = np.log(np.maximum(operating.pressure[0] / (operating.density[0] * speed**2), 0.02))
    columns = np.column_stack([u, u**2])
    wanted = y - columns @ mean[[INDEX[Parameter.PRESSURE_SLOPE], INDEX[Parameter.PRESSURE_BEND]]]
    scaled = columns * sd[[INDEX[Parameter.PRESSURE_SLOPE], INDEX[Parameter.PRESSURE_BEND]]]
    line = HuberRegressor(alpha=_START_SD**2 * len(u), max_iter=500).fit(scaled, wanted)
    start[INDEX[Parameter.PRESSURE_LEVEL]] = float(line.intercept_)
    for name, moved in zip((Parameter.PRESSURE_SLOPE, Parameter.PRESSURE_BEND), line.coef_, strict=True):
        start[INDEX[name]] += float(moved) * sd[INDEX[name]]
    return start


def load_spread(speed: Floats, load_kind: Floats) -> Floats:
    """Return the factor on an hour's load error: amps say little of torque at low speed."""
    weak = np.maximum(1.0, np.square(WEAK_CURRENT_SPEED / np.maximum(speed, 0.05)))
    return np.where(load_kind == LoadKind.CURRENT, weak, 1.0)


def _residuals(theta: Floats, trend: float, problem: _Problem) -> tuple[Floats, "_Fitted"]:
    operating, channels = problem.operating, problem.channels
    expected = expect(theta[None], problem.plant, operating)
    pressure = expected.pressure - trend * problem.age * operating.density * operating.airflow**2
    residuals = np.zeros((operating.speed.shape[1], 2))
    if channels.has_pressure:
        residuals[:, PRESSURE] = operating.pressure[0] / np.maximum(pressure[0], 1e-3) - 1.0
    if channels.load_kind is not LoadKind.NONE:
        residuals[:, LOAD] = operating.load[0] / np.maximum(expected.load[0], 1e-3) - 1.0
    return residuals, _Fitted(pressure, expected.load, expected.torque, expected.motor_speed)


@dataclass(frozen=True, slots=True)
class _Fitted:
    pressure: Floats
    load: Floats
    torque: Floats
    motor_speed: Floats


def _error_covariances(residuals: Floats, days: Floats) -> tuple[Floats, Floats]:
    # Stray hours are pulled in to three robust deviations before variances are taken.
    centre = np.median(residuals, axis=0)
    robust = 1.4826 * np.median(np.abs(residuals - centre), axis=0) + 1e-9
    tame = np.clip(residuals, centre - 3.5 * robust, centre + 3.5 * robust)
    _, group, count = np.unique(days, return_inverse=True, return_counts=True)
    means = np.stack([np.bincount(group, weights=tame[:, c]) / count for c in (PRESSURE, LOAD)], axis=1)
    within = tame - means[group]
    hour = within.T @ within / max(len(tame) - len(count), 1)
    # From day to next day, so that a slow drift of the period does not pass for weather.
    steps = np.diff(means, axis=0)
    between = 0.5 * steps.T @ steps / len(steps) if len(steps) > 2 else np.zeros((2, 2))
    day = between - hour * float(np.mean(1.0 / count))
    return _floored(hour, _LEAST_HOUR_SD), _floored(_positive(day), _LEAST_DAY_SD)


def _positive(matrix: Floats) -> Floats:
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)


def _floored(matrix: Floats, least_sd: tuple[float, float]) -> Floats:
    return np.asarray(matrix + np.diag(np.square(least_sd)))


def _covariance(
    mean: Floats,
    prior_sd: Floats,
    plant: Plant,
    operating: Operating,
    days: Floats,
    hour_covariance: Floats,
    day_covariance: Floats,
    channels: Channels,
) -> Floats:
    expected, pressure, load = linearise(mean[None], plant, operating)
    slopes = np.stack(
        [pressure[0] / expected.pressure[0][:, None], load[0] / expected.load[0][:, None]], axis=1
    )
    counted = np.ones((1, len(days), 2)) * np.array(
        [channels.has_pressure, channels.load_kind is not LoadKind.NONE]
    )
    spread = np.ones_like(counted)
    spread[0, :, LOAD] = load_spread(operating.speed, plant.load_kind[:, None])[0]
    information = np.diag(1.0 / np.square(prior_sd))
    for value in np.unique(days):
        of_day = days == value
        precision = hour_precision(hour_covariance[None], counted[:, of_day], spread[:, of_day])
        said, _ = day_information(
            slopes[None, of_day], np.zeros((1, int(of_day.sum()), 2)), precision, day_covariance[None]
        )
        information = information + said[0]
    return np.asarray(np.linalg.inv(information[_CURVE_FIRST:, _CURVE_FIRST:]), dtype=np.float64)


def _zero(stopped: Floats, day: Floats) -> tuple[float, float]:
    known = ~np.isnan(stopped)
    if known.sum() < 3:
        return np.nan, np.nan
    means = np.array([np.mean(stopped[known & (day == value)]) for value in np.unique(day[known])])
    spread = float(np.std(means, ddof=1)) if len(means) > 2 else np.nan
    return float(np.mean(means)), spread


CURVE_SIZE = len(CURVE)
