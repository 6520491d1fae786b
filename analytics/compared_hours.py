"""Which hours before and after a change can be compared, and what must be equal between them?"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.model import LoadKind
from analytics.motor import line_power_from_shaft_power
from analytics.same_air import agreed_airflow, healthy_at
from analytics.savings import Belief, PeriodHours
from analytics.vocabulary import PowerAt, SpeedControl

# How far power may follow load, resistance and load again beside the curves: a belt that slips 6 % at full
# load and none at half is 0.1. Ours, no source.
_DRIVE_PRIOR_SD: Final = (0.15, 0.08, 0.15)
# Power follows airflow by a power of 1.5 to 3 in the field, and density by 0 (pressure held) to 1.
_AIR_EXPONENT: Final = 2.0
_AIR_PRIOR_SD: Final = (0.7, 0.6, 0.7)
_DENSITY_EXPONENT: Final = 0.5
_FLOW_MARGIN: Final = 0.03
_LOAD_MARGIN: Final = 0.08
_ENDS: Final = (1.0, 99.0)


class Basis(StrEnum):
    """What is equal before and after: airflow and pressure, or airflow alone."""

    DRIVE = "drive"
    AIR = "air"


@dataclass(frozen=True, slots=True)
class AirHours:
    """Steady hours of one period, all (hours,).

    `day` an integer a plant day; `speed` output frequency over base; `airflow_m3s` actual; `pressure_pa` with
    the sign of the export, NaN where not trended; `density` over 1.2 kg/m3; `power_kw` read.
    """

    day: Floats
    speed: Floats
    airflow_m3s: Floats
    pressure_pa: Floats
    density: Floats
    power_kw: Floats

    def some(self, which: Bools) -> "AirHours":
        """Return some of the hours."""
        return AirHours(*(getattr(self, name)[which] for name in AirHours.__slots__))


@dataclass(frozen=True, slots=True)
class Compared:
    """Two periods made ready for `analytics.savings.saving`.

    `is_inside` (hours after,) within the range before; `share_inside` of the energy after; `airflow_before`,
    `airflow_after` [m3/s] the first and last per cent of each period; `is_used_before`, of the hours before.
    """

    before: PeriodHours
    after: PeriodHours
    belief: Belief
    is_used_before: Bools
    is_inside: Bools
    share_inside: float
    airflow_before: tuple[float, float]
    airflow_after: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Meter:
    """What the power read is: `is_electrical` or motor shaft power, and of which machine."""

    machine: Machine
    is_electrical: bool

    @property
    def rated_kw(self) -> float:
        """Rated shaft output of all motors."""
        return self.machine.motor_rated_power_w * self.machine.motor_count / 1000.0


def compare(
    before: AirHours, after: AirHours, curves: HealthyCurves, meter: Meter, basis: Basis
) -> Compared | None:
    """Bring both periods to the terms that power is regressed on.

    Basis drive: power over what the healthy drive would have drawn at the same airflow and pressure, by load
    and resistance; the curves' own error stands in both periods. Basis air: power by airflow and density.

    Parameters: `before`, `after`; `curves` of the fan, learned with the machine of `meter`; `basis`.
    Returns: `Compared`; None where no hour is left in one of them.
    """
    build = _drive_terms if basis is Basis.DRIVE else _air_terms
    first, second = build(before, curves, meter), build(after, curves, meter)
    is_used, is_known = np.isfinite(first.log_power), np.isfinite(second.log_power)
    if not is_used.any() or not is_known.any():
        return None
    first = first.some(is_used)
    centre = first.by.mean(axis=0)
    lows, highs = np.percentile(first.by, _ENDS, axis=0)
    inside = is_known & _is_within(second.by[:, 0], lows[0], highs[0], _LOAD_MARGIN)
    flow_low, flow_high = np.percentile(np.log(first.airflow), _ENDS)
    with np.errstate(invalid="ignore"):
        inside &= _is_within(np.log(second.airflow), float(flow_low), float(flow_high), _FLOW_MARGIN)
    energy = after.power_kw[is_known].sum()
    one, other = _period(first, before.some(is_used), centre), second.some(inside)
    return Compared(
        one,
        _period(other, after.some(inside), centre),
        _belief(one.terms, curves.airflow_noise, basis),
        is_used,
        inside,
        float(after.power_kw[inside].sum() / energy),
        _ends(first.airflow),
        _ends(second.airflow[is_known]),
    )


@dataclass(frozen=True, slots=True)
class _Terms:
    log_power: Floats
    noisy_log_power: Floats
    by: Floats
    airflow: Floats

    def some(self, which: Bools) -> "_Terms":
        return _Terms(*(getattr(self, name)[which] for name in _Terms.__slots__))


def _drive_terms(hours: AirHours, curves: HealthyCurves, meter: Meter) -> _Terms:
    flow = _agreed(hours, curves)
    healthy_kw, torque = healthy_power(flow, hours, curves, meter)
    noisy_kw, _ = healthy_power(hours.airflow_m3s, hours, curves, meter)
    with np.errstate(invalid="ignore", divide="ignore"):
        resistance = np.log(curves.pressure_sign * hours.pressure_pa / (hours.density * flow**2))
        by = np.column_stack([np.log(torque), resistance])
        log_power, noisy = np.log(hours.power_kw / healthy_kw), np.log(hours.power_kw / noisy_kw)
    is_known = np.isfinite(log_power) & np.isfinite(noisy) & np.isfinite(by).all(axis=1)
    return _Terms(np.where(is_known, log_power, np.nan), noisy, by, flow)


def _air_terms(hours: AirHours, curves: HealthyCurves, _meter: Meter) -> _Terms:
    flow = _agreed(hours, curves)
    by = np.column_stack([np.log(flow), np.log(hours.density)])
    log_power = np.log(hours.power_kw) - _AIR_EXPONENT * by[:, 0] - _DENSITY_EXPONENT * by[:, 1]
    # What the station's noise does to the mean follows the exponent that the hours themselves show.
    away = by - by.mean(axis=0)
    spread = float(np.mean(np.square(away[:, 0])))
    slope = float(np.mean(away[:, 0] * log_power)) / spread if spread > 1e-4 else 0.0
    exponent = float(np.clip(_AIR_EXPONENT + slope, 1.0, 3.5))
    noisy = log_power - exponent * (np.log(hours.airflow_m3s) - by[:, 0])
    return _Terms(log_power, noisy, by, flow)


def _agreed(hours: AirHours, curves: HealthyCurves) -> Floats:
    beside = [np.log(hours.density)]
    if np.std(hours.speed) > 1e-3:
        beside += [np.log(hours.speed), np.square(np.log(hours.speed))]
    if not np.isnan(hours.pressure_pa).any():
        beside.append(np.log(np.maximum(curves.pressure_sign * hours.pressure_pa, 1.0)))
    return agreed_airflow(hours.airflow_m3s, np.column_stack(beside), curves.airflow_noise)


def healthy_power(
    airflow_m3s: Floats, hours: AirHours, curves: HealthyCurves, meter: Meter
) -> tuple[Floats, Floats]:
    """Return what the meter would have read of the healthy drive, and its torque.

    Parameters: `airflow_m3s` (hours,) [m3/s]; `hours` with pressure and density; `curves` of the fan;
    `meter`, what reads the power and where. Returns: power [kW] and torque [of rated], each (hours,).
    """
    torque, speed, load = healthy_at(airflow_m3s, hours.pressure_pa, hours.density, curves)
    shaft_kw = torque * speed / (1.0 - curves.rated_slip) * meter.rated_kw
    if not meter.is_electrical:
        return shaft_kw, torque
    machine = meter.machine
    if curves.channels.load_kind is LoadKind.POWER:
        shaft_kw = load * meter.rated_kw
    has_vfd = machine.power_at is PowerAt.LINE and machine.speed_control is SpeedControl.VFD
    frequency = speed + curves.rated_slip * torque if machine.speed_control is SpeedControl.VFD else 1.0
    line_w = line_power_from_shaft_power(
        1000.0 * shaft_kw, 1000.0 * meter.rated_kw, has_vfd, speed_fraction=frequency
    )
    return line_w / 1000.0, torque


def _belief(terms: Floats, noise: float, basis: Basis) -> Belief:
    # Airflow's noise e stands in the power over the curves as -b e and in the terms as v e: least squares
    # then finds slopes that are off by S^-1 v b var(e), S the terms' own covariance.
    is_drive = basis is Basis.DRIVE
    in_terms = np.array((1.0, -2.0, 0.0) if is_drive else (1.0, 0.0, 0.0))
    in_power = 1.0 if is_drive else _AIR_EXPONENT
    away = terms - terms.mean(axis=0)
    inverse = np.linalg.pinv(away.T @ away / len(away), rcond=1e-9, hermitian=True)
    bias = inverse @ in_terms * in_power * noise**2
    return Belief(np.array(_DRIVE_PRIOR_SD if is_drive else _AIR_PRIOR_SD), np.outer(bias, bias))


def _period(terms: _Terms, hours: AirHours, centre: Floats) -> PeriodHours:
    away = terms.by - centre
    columns = [away[:, 0], away[:, 1], np.square(away[:, 0])]
    return PeriodHours(
        hours.day, hours.power_kw, terms.log_power, terms.noisy_log_power, np.column_stack(columns)
    )


def _is_within(values: Floats, low: float, high: float, margin: float) -> Bools:
    return np.asarray((values >= low - margin) & (values <= high + margin))


def _ends(values: Floats) -> tuple[float, float]:
    low, high = np.percentile(values, _ENDS)
    return float(low), float(high)
