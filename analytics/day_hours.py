"""Which hours of a day lie where the healthy curves were learned, and how does the model see them?"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.model import INDEX, Operating, Parameter, curve
from analytics.scaled_hours import ScaledHours
from analytics.state import DayZeros
from analytics.unmeasured_airflow import agreed_flow
from analytics.wheel_speed import DAY_SD_BY_NAMEPLATE, DAY_SD_WITH_MOTOR_SPEED, NO_WHEEL, DayWheel

Integers = npt.NDArray[np.int64]

HOURS_A_DAY = 25
LEAST_HOURS_JUDGED = 3
# Past the fitted range by this much the curves' own covariance still holds; beyond, nothing is said.
X_MARGIN = 0.10
SPEED_MARGIN = 0.20
_LEAST_ZERO_SD = 0.003
_LEAST_STOPPED_HOURS = 2
# Of the airflow scale: a station's own noise about nothing stays below this.
_LEAST_STOPPED_FLOW = 0.05
_GRID = 400
_FLOW_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class LaneHours:
    """A fan's hours of many days as the model sees them; every field has shape (hours,).

    `speed`, `airflow`, `density`, `pressure`, `load` as in `Operating`; `is_in_range` where they are steady
    and inside the fitted range; what stopped sensors read, in SI; `wheel_ratio` wheel over motor speed.
    """

    speed: Floats
    airflow: Floats
    density: Floats
    pressure: Floats
    load: Floats
    is_in_range: Bools
    stopped_pressure_pa: Floats
    stopped_airflow_m3s: Floats
    wheel_ratio: Floats

    def some(self, which: slice | Bools) -> "LaneHours":
        """Return some of the hours."""
        return LaneHours(*(getattr(self, name)[which] for name in LaneHours.__slots__))


def lane_hours(hours: ScaledHours, curves: HealthyCurves) -> LaneHours:
    """Bring a fan's hours into the model's units: an hour is seen alike alone and among others."""
    hours = with_flow(hours, curves)
    return LaneHours(
        hours.speed,
        hours.airflow_m3s / curves.airflow_scale_m3s,
        hours.density,
        curves.pressure_sign * hours.pressure_pa / curves.pressure_scale_pa,
        hours.load,
        _in_range(hours, curves),
        hours.stopped_pressure_pa,
        hours.stopped_airflow_m3s,
        hours.wheel_ratio,
    )


def day_operating(hours: ScaledHours, curves: HealthyCurves) -> Operating:
    """Pack one fan's hours of one day for the model: `packed_day` of them alone."""
    return packed_day(lane_hours(hours, curves))


def packed_day(hours: LaneHours, is_counted: Bools | None = None) -> Operating:
    """Pack one fan's hours of one day for the model.

    Parameters: `hours` of the day, at most HOURS_A_DAY; `is_counted` (hours,) where the day lets them count.
    Returns: `Operating` of shape (1, HOURS_A_DAY), unused places filled with ones.
    """
    begins, ends = np.zeros(1, dtype=np.int64), np.array([len(hours.speed)])
    return packed_days(hours, begins, ends, is_counted)


def packed_days(
    hours: LaneHours, begins: Integers, ends: Integers, is_counted: Bools | None = None
) -> Operating:
    """Pack one fan's hours of many days for the model, each day for itself.

    Parameters: `hours`; `begins`, `ends` (days,) where each day's hours begin and end, past the last, at most
    HOURS_A_DAY apart; `is_counted` (hours,) where the day lets them count.
    Returns: `Operating` of shape (days, HOURS_A_DAY), unused places filled with ones.
    """
    count = ends - begins
    day = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(day)) - np.repeat(np.cumsum(count) - count, count)
    which = begins[day] + place
    shape = len(count), HOURS_A_DAY
    used = np.zeros(shape, dtype=bool)
    used[day, place] = (hours.is_in_range if is_counted is None else hours.is_in_range & is_counted)[which]

    def packed(values: Floats) -> Floats:
        rows = np.ones(shape)
        rows[day, place] = np.where(np.isnan(values[which]), 1.0, values[which])
        rows[~used] = 1.0
        return rows

    read = (hours.speed, hours.airflow, hours.density, hours.pressure, hours.load)
    speed, airflow, density, pressure, load = (packed(values) for values in read)
    return Operating(speed, airflow, density, pressure, load, used)


def in_range(hours: ScaledHours, curves: HealthyCurves) -> Bools:
    """Tell which hours are steady and inside the fitted range.

    The place on the curve is taken from the measured flow coefficient and, with a pressure, from the
    system's resistance p / (rho q^2) too, which neither speed nor slip moves; either is enough.
    """
    return _in_range(with_flow(hours, curves), curves)


def _in_range(hours: ScaledHours, curves: HealthyCurves) -> Bools:
    if not hours.is_steady.any():
        return np.zeros(len(hours.speed), dtype=bool)
    with np.errstate(invalid="ignore", divide="ignore"):
        is_on_curve = _is_within(hours.airflow_m3s / curves.airflow_scale_m3s / hours.speed, curves)
        if curves.channels.has_pressure:
            is_on_curve |= _is_within(_x_of_resistance(hours, curves), curves)
        least, greatest = curves.least_speed, curves.greatest_speed
        is_at_speed = (hours.speed > least * (1.0 - SPEED_MARGIN)) & (
            hours.speed < greatest * (1.0 + SPEED_MARGIN)
        )
    return np.asarray(hours.is_steady & is_on_curve & is_at_speed, dtype=bool)


def with_flow(hours: ScaledHours, curves: HealthyCurves) -> ScaledHours:
    """Return the hours with the flow at which the healthy fan would read so, where nobody measures it.

    With pressure or load alone the usual flow of the speed stands in.
    """
    if curves.channels.has_airflow:
        return hours
    usual = hours.speed * curves.airflow_scale_m3s
    if not curves.channels.is_flow_free:
        return replace(hours, airflow_m3s=usual)
    is_read = hours.is_steady[None]
    pressure = curves.pressure_sign * hours.pressure_pa / curves.pressure_scale_pa

    def packed(values: Floats) -> Floats:
        return np.where(is_read, values, 1.0)

    speed = packed(hours.speed)
    agreed, _ = agreed_flow(
        curves.mean[None],
        curves.plant,
        Operating(speed, speed, packed(hours.density), packed(pressure), packed(hours.load), is_read),
        counted=np.repeat(is_read[..., None], 2, axis=-1).astype(np.float64),
        hour_variance=np.diagonal(curves.hour_covariance)[None],
        usual=speed,
        rounds=_FLOW_ROUNDS,
    )
    return replace(hours, airflow_m3s=agreed.airflow[0] * curves.airflow_scale_m3s)


def _is_within(x: Floats, curves: HealthyCurves) -> Bools:
    least, greatest = curves.least_x * (1.0 - X_MARGIN), curves.greatest_x * (1.0 + X_MARGIN)
    return np.asarray((x > least) & (x < greatest), dtype=bool)


def _x_of_resistance(hours: ScaledHours, curves: HealthyCurves) -> Floats:
    airflow = hours.airflow_m3s / curves.airflow_scale_m3s
    pressure = curves.pressure_sign * hours.pressure_pa / curves.pressure_scale_pa
    path = curves.mean[INDEX[Parameter.PATH]]
    wanted = np.log(np.maximum(pressure, 1e-6) / (hours.density * np.square(airflow)) + path)
    level, slope, bend = (
        curves.mean[INDEX[name]]
        for name in (Parameter.PRESSURE_LEVEL, Parameter.PRESSURE_SLOPE, Parameter.PRESSURE_BEND)
    )
    # Pressure over flow squared falls with x, so that a grid read backwards inverts it.
    x = np.geomspace(0.4 * curves.least_x, 1.8 * curves.greatest_x, _GRID)
    steep = np.log(curve(x, level, slope, bend)) - 2.0 * np.log(x)
    falling = np.minimum.accumulate(steep) - 1e-9 * np.arange(_GRID)
    return np.asarray(np.exp(np.interp(-wanted, -falling, np.log(x))))


def day_zeros(hours: LaneHours, curves: HealthyCurves) -> DayZeros:
    """Read the sensors' zeros off the hours in which the fan stood still.

    A velocity-pressure station cannot read below nothing: it tells a zero only while it reads air, or no
    longer reads what it did.
    Returns: one fan's `DayZeros`; NaN without two such hours or without a zero in the healthy period.
    """
    pressure, pressure_sd, airflow, airflow_sd = np.nan, np.nan, np.nan, np.nan
    mean, spread = curves.stopped_pressure_pa
    stopped = _mean_stopped(hours.stopped_pressure_pa)
    if stopped is not None and not np.isnan(mean) and curves.channels.has_pressure:
        scale = curves.pressure_scale_pa
        pressure = curves.pressure_sign * (stopped - mean) / scale
        # A stopped fan among others still feels their pressure: the healthy spread says how much.
        pressure_sd = max(2.0 * (0.0 if np.isnan(spread) else spread) / scale, _LEAST_ZERO_SD)
    mean, spread = curves.stopped_airflow_m3s
    stopped = _mean_stopped(hours.stopped_airflow_m3s)
    if stopped is not None and not np.isnan(mean):
        now, then = stopped / curves.airflow_scale_m3s, mean / curves.airflow_scale_m3s
        if max(now, then) > _LEAST_STOPPED_FLOW:
            airflow = now**2 - then**2
            wander = 2.0 * max(now, then) * (0.0 if np.isnan(spread) else spread) / curves.airflow_scale_m3s
            airflow_sd = max(2.0 * wander, _LEAST_ZERO_SD)
    return DayZeros(*(np.array([value]) for value in (pressure, pressure_sd, airflow, airflow_sd)))


def _mean_stopped(values: Floats) -> float | None:
    # The sum itself: a day asks for two, and NumPy's own mean takes three times as long.
    known = values[~np.isnan(values)]
    return float(np.add.reduce(known)) / len(known) if len(known) >= _LEAST_STOPPED_HOURS else None


def day_wheel(hours: LaneHours, curves: HealthyCurves, packed: Operating) -> DayWheel:
    """Read the wheel's own speed off a day's used hours, one fan's `DayWheel`.

    Parameters: `hours` of the day; `curves`; `packed`, the same hours as `packed_day` packs them.
    """
    if not curves.channels.has_wheel_speed or np.isnan(curves.wheel_ratio):
        return NO_WHEEL
    ratio = hours.wheel_ratio[packed.is_used[0, : len(hours.speed)]]
    is_read = ratio > 0.0
    if not is_read.any():
        return NO_WHEEL
    knows_motor = curves.channels.has_motor_speed
    sd = DAY_SD_WITH_MOTOR_SPEED if knows_motor else DAY_SD_BY_NAMEPLATE
    return DayWheel(np.array([np.mean(np.log(ratio[is_read] / curves.wheel_ratio))]), np.array([sd]))
