"""A fan's own picture: its healthy curves, its recent hours, and the line along which slip moves a point."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.day_hours import in_range
from analytics.measured_torque import measured_torque
from analytics.model import CURVE, INDEX, Operating, Parameter
from analytics.scaled_hours import ScaledHours, scaled_hours
from analytics.slopes import linearise
from config.folder import SiteFolder
from service.store.power import (
    HealthyFit,
    healthy_fit,
    healthy_motor_hours,
    learned_normals,
    midnight,
)
from service.store.store import Store

RECENT_DAYS: Final = 14
_PLACES: Final = 41
_MARGIN: Final = 0.05
_BAND: Final = 1.96
_SLIPS: Final = (0.0, 0.02, 0.05, 0.10)


@dataclass(frozen=True, slots=True)
class Curve:
    """A healthy curve over airflow, its central 95 %, the hours measured, and a point as slip moves it.

    All as if at full motor speed and in standard air: `airflow_m3s` with `healthy`, `low`, `high`; the
    hours' `hour_airflow_m3s` with `hours`; `moved_airflow_m3s` with `moved` at the slips of `slips`.
    """

    airflow_m3s: Floats
    healthy: Floats
    low: Floats
    high: Floats
    hour_airflow_m3s: Floats
    hours: Floats
    slips: tuple[float, ...]
    moved_airflow_m3s: Floats
    moved: Floats


@dataclass(frozen=True, slots=True)
class FanPicture:
    """The pressure [Pa, positive] and torque [of rated] curves; None where that is not measured."""

    pressure_pa: Curve | None
    torque: Curve | None
    first: dt.date
    last: dt.date


def fan_picture(site: SiteFolder, store: Store, fan: str, last: dt.date) -> FanPicture | None:
    """Return a fan's picture with the hours of the fortnight that ends on a plant date.

    None without healthy curves, and without an airflow to draw them over.
    """
    fit = healthy_fit(site, store, fan, last)
    if fit is None or not fit.curves.channels.has_airflow:
        return None
    first = last - dt.timedelta(days=RECENT_DAYS - 1)
    frame = store.hours.read([fan], midnight(site, first), midnight(site, last + dt.timedelta(days=1)))
    if frame.empty:
        return None
    with store.reader() as connection:
        normals = learned_normals(connection, [fan], first, last).get(fan, [])
    days = frame["day"].to_numpy(dtype=np.int64)
    scaled = scaled_hours(frame, fit.machine, fit.curves.channels)
    drawn = _Drawn(fit, healthy_motor_hours(scaled, days, normals))
    has = fit.curves.channels
    return FanPicture(
        drawn.pressure() if has.has_pressure else None, drawn.torque() if has.has_load else None, first, last
    )


class _Drawn:
    """The curves at full speed in standard air, and the usable hours brought there by the affinity laws."""

    def __init__(self, fit: HealthyFit, hours: ScaledHours) -> None:
        curves = fit.curves
        self._curves = curves
        self._friction = float(curves.mean[INDEX[Parameter.FRICTION]])
        is_used = in_range(hours, curves)
        torque, motor_speed = measured_torque(hours.load, hours.speed, curves)
        dynamic = (hours.density * np.square(motor_speed))[is_used]
        self._x = (hours.airflow_m3s / curves.airflow_scale_m3s / motor_speed)[is_used]
        self._y = (curves.pressure_sign * hours.pressure_pa / curves.pressure_scale_pa)[is_used] / dynamic
        self._z = (torque[is_used] - self._friction) / dynamic + self._friction
        self._places = np.linspace(curves.least_x - _MARGIN, curves.greatest_x + _MARGIN, _PLACES)
        expected, by_pressure, _ = linearise(curves.mean[None], curves.plant, self._full_speed(), CURVE)
        self._dynamic = np.square(expected.motor_speed[0])
        self._healthy_x = self._places / expected.motor_speed[0]
        self._pressure, self._torque = expected.pressure[0], expected.torque[0]
        self._usual = self._usual_place()
        self._pressure_sd = _spread(by_pressure[0], curves)
        self._torque_sd = self._torque_spread()

    def _full_speed(self) -> Operating:
        ones = np.ones((1, _PLACES))
        return Operating(ones, self._places[None], ones, ones, ones, ones.astype(bool))

    def _usual_place(self) -> float:
        """Return the place on the healthy curve from which slip brings a point to where the hours lie.

        Slip leaves the system alone: a point moves along the parabola through the origin.
        """
        measured, healthy = self._y, self._pressure / self._dynamic
        if not self._curves.channels.has_pressure:
            measured, healthy = self._z - self._friction, (self._torque - self._friction) / self._dynamic
        resistance = measured / np.square(self._x)
        resistance = resistance[np.isfinite(resistance)]
        if not len(resistance):
            return 1.0
        falling = healthy / np.square(self._healthy_x)
        return float(np.interp(-np.median(resistance), -falling, self._healthy_x))

    def _torque_spread(self) -> Floats:
        """Return the error of the torque by that of the load it is read from, which is nearly its own."""
        expected, _, by_load = linearise(
            self._curves.mean[None], self._curves.plant, self._full_speed(), CURVE
        )
        relative = _spread(by_load[0], self._curves) / np.maximum(expected.load[0], 1e-6)
        return np.asarray(relative * expected.torque[0])

    def pressure(self) -> Curve:
        """Return the curve of pressure."""
        scale = self._curves.pressure_scale_pa
        healthy, sd = self._pressure / self._dynamic * scale, self._pressure_sd / self._dynamic * scale
        hour_sd = float(np.sqrt(self._curves.hour_covariance[0, 0]))
        return self._curve(healthy, np.hypot(sd, hour_sd * healthy), self._y * scale, 0.0)

    def torque(self) -> Curve:
        """Return the curve of torque; friction stays where it is, whatever the speed."""
        healthy = (self._torque - self._friction) / self._dynamic + self._friction
        hour_sd = float(np.sqrt(self._curves.hour_covariance[1, 1]))
        return self._curve(healthy, np.hypot(self._torque_sd, hour_sd * healthy), self._z, self._friction)

    def _curve(self, healthy: Floats, sd: Floats, hours: Floats, friction: float) -> Curve:
        scale = self._curves.airflow_scale_m3s
        usual = self._usual
        start = float(np.interp(usual, self._healthy_x, healthy))
        turned = 1.0 - np.array(_SLIPS)
        is_read = np.isfinite(hours) & np.isfinite(self._x)
        return Curve(
            self._healthy_x * scale,
            healthy,
            healthy - _BAND * sd,
            healthy + _BAND * sd,
            self._x[is_read] * scale,
            hours[is_read],
            _SLIPS,
            usual * turned * scale,
            (start - friction) * np.square(turned) + friction,
        )


def _spread(slopes: Floats, curves: HealthyCurves) -> Floats:
    """Return the standard deviation that the curves' own covariance gives at each place."""
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", slopes, curves.covariance, slopes)))
