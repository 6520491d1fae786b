"""What does a healthy fan do here: its two curves, learned from the healthy period, with their errors."""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.curve_fit import (
    LOAD,
    PRESSURE,
    Fit,
    Healthy,
    Noise,
    divisor,
    flow_slopes,
    latent_airflow,
    residuals,
    tame,
)
from analytics.curve_priors import curve_prior
from analytics.flowless_fit import fit_flowless
from analytics.healthy_fit import fit_healthy, refits
from analytics.information import day_information, hour_precision
from analytics.machine import Machine
from analytics.model import CURVE, INDEX, Expected, LoadKind, Operating, Parameter, Plant, expect
from analytics.priors import (
    AIRFLOW_NOISE,
    DENSITY_SD_NO_BAROMETER,
    HEALTHY_DENSITY_SD,
    LEAST_DAY_SD,
    LEAST_HOUR_SD,
    PINNED_SD,
)
from analytics.scaled_hours import Channels, ScaledHours, rated_motor_slip
from analytics.slopes import linearise
from analytics.statistics import cv_rmse, nmbe
from analytics.unmeasured_airflow import without_flow
from analytics.vocabulary import PressureLocation, SpeedControl
from analytics.wheel_speed import log_wheel_ratio

LEAST_HOURS = 24
_MOST_ALIKE = 0.7
# Greatest over least speed below which all hours ran at one. Common practice, no source.
_ONE_SPEED = 1.15

_CURVE_FIRST = INDEX[Parameter.PRESSURE_LEVEL]


class TooLittleHealthyDataError(ValueError):
    """The healthy period does not hold what a healthy curve needs; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class HealthyCurves:
    """One fan's healthy curves and their errors.

    `mean` (SIZE,) and `covariance` (curve parameters squared) in the model's parameters;
    `hour_covariance`, `day_covariance` (2, 2) of relative pressure and load; scales in SI;
    `pressure_sign`; `reference_torque` [of rated]; `least_x`, `greatest_x` the fitted range of the
    flow coefficient over its scale; `stopped_pressure_pa` and `stopped_airflow_m3s` as mean and
    standard deviation over days, NaN where never stopped; `wheel_ratio` wheel over motor speed
    without slip and creep;
    `airflow_noise` the relative noise of an hour's airflow.
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
    airflow_noise: float
    hours: int
    days: int
    pressure_cv_rmse: float
    load_cv_rmse: float
    pressure_nmbe: float
    load_nmbe: float

    @property
    def is_at_one_speed(self) -> bool:
        """Whether they were learned at one speed: a slipping belt and a fouled wheel then look much alike."""
        return self.greatest_speed < _ONE_SPEED * self.least_speed

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
    _refuse_too_little(hours, keep, machine, channels)
    motor_slip = rated_motor_slip(machine, channels)
    operating, scales = _scaled(hours, keep, channels, motor_slip)
    days = day[keep]
    problem = _problem(operating, motor_slip, days - days[0], machine, channels)
    if channels.has_airflow:
        problem, fit = fit_healthy(problem)
    else:
        problem, fit = fit_flowless(problem)
        operating = problem.operating
    missed, fitted = residuals(problem, fit.theta, fit.trend)
    hour_covariance, day_covariance = _error_covariances(missed, days)
    covariance = _covariance(
        problem,
        fit,
        days,
        (hour_covariance, day_covariance),
        is_flow_free=channels.is_flow_free,
    )
    covariance = covariance + fit.law_doubt[_CURVE_FIRST:, _CURVE_FIRST:]
    if channels.has_airflow:
        covariance = covariance + _noise_doubt(problem, fit)
    x = operating.airflow[0] / fitted.motor_speed[0]
    pressure = operating.pressure[0]
    expected_pressure = pressure * (1.0 - missed[:, PRESSURE])
    parameters = min(len(problem.free) // 2, len(pressure) - 2)
    return HealthyCurves(
        channels,
        fit.theta,
        covariance,
        hour_covariance,
        day_covariance,
        scales[0],
        scales[1],
        scales[2],
        motor_slip,
        float(problem.plant.reference_torque[0]),
        float(np.percentile(x, 1)),
        float(np.percentile(x, 99)),
        float(np.percentile(operating.speed, 1)),
        float(np.percentile(operating.speed, 99)),
        _zero(hours.stopped_pressure_pa, day),
        _zero(hours.stopped_airflow_m3s, day),
        _sheave_ratio(hours.wheel_ratio[keep], fit.theta, fitted, operating)
        if channels.has_wheel_speed
        else np.nan,
        fit.noise.airflow,
        int(keep.sum()),
        len(np.unique(days)),
        cv_rmse(pressure, expected_pressure, parameters),
        cv_rmse(operating.load[0], fitted.load[0], parameters),
        nmbe(pressure, expected_pressure, parameters),
        nmbe(operating.load[0], fitted.load[0], parameters),
    )


def _refuse_too_little(hours: ScaledHours, keep: Bools, machine: Machine, channels: Channels) -> None:
    if not channels.sees_anything:
        raise TooLittleHealthyDataError(
            "neither airflow, pressure, current, power, torque nor the wheel's speed is trended"
        )
    if machine.speed_control is SpeedControl.INLET_VANES and channels.vane_position is None:
        raise TooLittleHealthyDataError(
            "inlet vanes change both fan curves, and no vane position is trended: name it as speed_point"
        )
    is_staged = machine.speed_control is SpeedControl.TWO_SPEED
    if is_staged and np.isnan(hours.speed).all():
        raise TooLittleHealthyDataError(
            "which of its two speeds runs is told by neither a speed point nor current, power or torque"
        )
    if np.isnan(hours.speed).all():
        raise TooLittleHealthyDataError("how fast the motor turns is not trended: name a speed_point")
    if keep.sum() < LEAST_HOURS:
        raise TooLittleHealthyDataError(
            f"{int(keep.sum())} steady hours in the healthy period; {LEAST_HOURS} are the least"
        )


def _problem(
    operating: Operating, motor_slip: float, age: Floats, machine: Machine, channels: Channels
) -> Healthy:
    prior_mean, prior_sd = curve_prior(machine, channels, operating)
    guess = _plant(motor_slip, channels, 1.0)
    usual = expect(prior_mean[None], guess, operating).torque[0]
    plant = _plant(motor_slip, channels, float(np.percentile(usual, 95)))
    is_loading = channels.has_pressure and machine.pressure_location is not PressureLocation.ACROSS_FAN
    has = np.array([channels.has_pressure, channels.load_kind is not LoadKind.NONE])
    density_sd = DENSITY_SD_NO_BAROMETER if channels.knows_density else HEALTHY_DENSITY_SD
    return Healthy(
        operating, plant, prior_mean, prior_sd, has, age.astype(np.float64), is_loading, density_sd
    )


def _scaled(
    hours: ScaledHours, keep: Bools, channels: Channels, motor_slip: float
) -> tuple[Operating, tuple[float, float, float]]:
    speed = hours.speed[keep]
    motor_speed = speed - 0.7 * motor_slip * speed**2
    # Without a station the flow that usually belongs to the speed stands in: 1 of a scale of 1.
    airflow, airflow_scale = motor_speed, 1.0
    if channels.has_airflow:
        airflow_scale = float(np.median(hours.airflow_m3s[keep] / motor_speed))
        airflow = hours.airflow_m3s[keep] / airflow_scale
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
        airflow[None],
        density[None],
        np.where(np.isnan(pressure), 1.0, sign * pressure / pressure_scale)[None],
        np.where(np.isnan(load), 1.0, load)[None],
        np.ones((1, len(speed)), dtype=bool),
    )
    return operating, (airflow_scale, pressure_scale, sign)


def _sheave_ratio(measured: Floats, theta: Floats, fitted: Expected, operating: Operating) -> float:
    expected = log_wheel_ratio(theta[None], fitted, operating)[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return float(np.exp(np.nanmedian(np.log(measured) - expected)))


def _plant(motor_slip: float, channels: Channels, reference: float) -> Plant:
    return Plant(np.array([motor_slip]), np.array([float(channels.load_kind)]), np.array([reference]))


def _error_covariances(missed: Floats, days: Floats) -> tuple[Floats, Floats]:
    drawn = tame(missed)
    _, group, count = np.unique(days, return_inverse=True, return_counts=True)
    means = np.stack([np.bincount(group, weights=drawn[:, c]) / count for c in (PRESSURE, LOAD)], axis=1)
    within = drawn - means[group]
    hour = within.T @ within / max(len(drawn) - len(count), 1)
    # Neighbouring hours err together: n of them count as n (1 - r) / (1 + r).
    follows = group[1:] == group[:-1]
    alike = float(np.mean([_correlation(within[:-1, c][follows], within[1:, c][follows]) for c in (0, 1)]))
    alike = float(np.clip(alike, 0.0, _MOST_ALIKE))
    counted = hour * (1.0 + alike) / (1.0 - alike)
    # From day to next day, so that a slow drift of the period does not pass for weather.
    steps = np.diff(means, axis=0)
    between = 0.5 * steps.T @ steps / len(steps) if len(steps) > 2 else np.zeros((2, 2))
    day = between - counted * float(np.mean(1.0 / count))
    return _floored(counted, LEAST_HOUR_SD), _floored(_positive(day), LEAST_DAY_SD)


def _correlation(first: Floats, second: Floats) -> float:
    scale = float(np.sqrt(np.mean(np.square(first)) * np.mean(np.square(second)))) if len(first) else 0.0
    return float(np.mean(first * second)) / scale if scale > 0.0 else 0.0


def _positive(matrix: Floats) -> Floats:
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)


def _floored(matrix: Floats, least_sd: tuple[float, float]) -> Floats:
    return np.asarray(matrix + np.diag(np.square(least_sd)))


def _covariance(
    problem: Healthy, fit: Fit, days: Floats, errors: tuple[Floats, Floats], *, is_flow_free: bool
) -> Floats:
    # At the flows all readings agree on: the measured ones spread by their noise, and would say too much.
    hour_covariance, day_covariance = errors
    hours = problem.operating
    by_flow = flow_slopes(problem, fit.theta[None], np.array([fit.trend]))
    flow = hours.airflow if is_flow_free else latent_airflow(problem, fit)[None]
    hours = Operating(hours.speed, flow, hours.density, hours.pressure, hours.load, hours.is_used)
    _, pressure, load = linearise(fit.theta[None], problem.plant, hours, CURVE)
    slopes = np.stack(
        [pressure[0] / divisor(hours, PRESSURE)[:, None], load[0] / divisor(hours, LOAD)[:, None]], axis=1
    )
    counted = np.ones((1, len(days), 2)) * problem.has
    spread = np.ones_like(counted)
    spread[0, :, LOAD] = problem.spread
    # The flux law's error is the distance between laws, not what one law's slopes say.
    sd = problem.sd[_CURVE_FIRST:].copy()
    sd[CURVE.index(Parameter.FLUX_EXPONENT)] = PINNED_SD
    precision = hour_precision(hour_covariance[None], counted, spread)
    precision = without_flow(precision, by_flow, np.array([is_flow_free]))[0]
    slopes, precision = _by_day(slopes, days), _by_day(precision, days)
    shared = np.broadcast_to(day_covariance, (len(slopes), 2, 2))
    said, _ = day_information(slopes, np.zeros(slopes.shape[:3]), precision, shared)
    information = np.diag(1.0 / np.square(sd)) + said.sum(axis=0)
    return np.asarray(np.linalg.inv(information), dtype=np.float64)


def _by_day(values: Floats, days: Floats) -> Floats:
    # A row a day, filled up with nothing.
    _, group, count = np.unique(days, return_inverse=True, return_counts=True)
    order = np.argsort(group, kind="stable")
    place = np.arange(len(days)) - np.repeat(np.cumsum(count) - count, count)
    found = np.zeros((len(count), count.max(), *values.shape[1:]))
    found[group[order], place] = values[order]
    return found


def _noise_doubt(problem: Healthy, fit: Fit) -> Floats:
    # The airflow's noise is known to a factor only, and the slopes follow what is taken for it.
    noise = Noise(fit.noise.airflow * (1.0 + 0.5 * AIRFLOW_NOISE[1]), fit.noise.pressure, fit.noise.load)
    other, same = refits(problem, fit, (noise, fit.noise))
    moved = (other.theta - same.theta)[_CURVE_FIRST:]
    return np.outer(moved, moved)


def _zero(stopped: Floats, day: Floats) -> tuple[float, float]:
    known = ~np.isnan(stopped)
    if known.sum() < 3:
        return np.nan, np.nan
    means = np.array([np.mean(stopped[known & (day == value)]) for value in np.unique(day[known])])
    spread = float(np.std(means, ddof=1)) if len(means) > 2 else np.nan
    return float(np.mean(means)), spread
