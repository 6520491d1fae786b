"""What does a drive's state cost a year: in energy and money under control, in air at the limit?"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats
from analytics.load_profile import LOADS, LoadProfile

_SAID: Final = 1.96
_MONTHS: Final = 12.0
_MOST_SLIP: Final = 0.9


@dataclass(frozen=True, slots=True)
class Span:
    """A figure and its central 95 %, each of shape (...,)."""

    centre: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class DriveCost:
    """What a state costs a year of the fan's own hours; arrays (...,).

    `slip_kwh` where the command rises and holds the air; `drag_kwh`; `energy_kwh` and `money` of both;
    `air_lost_pct` of the air in the `limited_hours` in which no command can rise, `air_lost_m3s` there;
    `meter_falls_kwh` by which the meter reads less in them, which is no saving; `healthy_kwh` and
    `healthy_money` what a healthy drive of the kind loses anyway; `cogged_kwh`, `synchronous_kwh` and
    `direct_kwh` what another drive in good order would save against this one in good order.
    """

    slip_kwh: Span
    drag_kwh: Span
    energy_kwh: Span
    money: Span
    air_lost_pct: Span
    air_lost_m3s: Floats
    limited_hours: Floats
    meter_falls_kwh: Floats
    healthy_kwh: Span
    healthy_money: Floats
    running_hours: Floats
    shaft_kwh: Floats
    line_kwh: Floats
    mean_price: Floats
    cogged_kwh: Span
    synchronous_kwh: Span
    direct_kwh: Span


@dataclass(frozen=True, slots=True)
class DriveState:
    """A drive's state for costing, as centre, low and high.

    `slip` (3, ..., BINS) above the healthy creep at each load [-]; `drag` (3, ...) rise of drive loss beside
    slip at the reference torque [-].
    """

    slip: Floats
    drag: Floats


def drive_cost(profile: LoadProfile, state: DriveState, demand_per_kw_month: float = 0.0) -> DriveCost:
    """Cost of a drive's state over the fan's usual year, under its own control.

    Where control holds the air, the command rises: torque stays, motor power rises by 1 / (1 - s). At the
    limit airflow falls by s and motor power to (1 - s)^2: the meter falls, and that is counted neither as a
    cost nor as a saving. Drag takes the same torque at any load. Slip and drag are taken as independent; a
    year not wholly seen widens all sums by the profile's season error.

    Parameters: `profile`, shapes (..., BINS); `state`; `demand_per_kw_month`, price of the month's highest
    kW, taken at the heaviest load under control.
    Returns: `DriveCost`; money in the unit of the profile's prices.
    Equation: held dP = P (1 / (1 - s) - 1), limited dP = P ((1 - s)^2 - 1), drag dP = P G / t with t the load
    ratio; kWh = sum of hours dP (d line / d shaft).
    Validity: quasi-steady hours; slip to 0.9.
    Source: affinity laws (any fan handbook): torque by slip with the airflow held and left free.
    """
    slip = np.clip(as_floats(state.slip), 0.0, _MOST_SLIP)
    drag = np.maximum(as_floats(state.drag), 0.0)[..., None]
    held, limited = slice(None, LOADS), slice(LOADS, None)
    energy = profile.hours * profile.motor_kw * profile.line_kw
    per_slip = 1.0 / (1.0 - slip) - 1.0
    per_drag = drag / np.maximum(profile.load_ratio, 0.1)
    slip_kwh = (energy * per_slip)[..., held].sum(axis=-1)
    drag_kwh = (energy * per_drag).sum(axis=-1)
    peak_slip, peak_drag = _peak_kw(profile, per_slip, per_drag)
    demand = demand_per_kw_month * _MONTHS
    slip_money = (energy * profile.price * per_slip)[..., held].sum(axis=-1) + demand * peak_slip
    drag_money = (energy * profile.price * per_drag).sum(axis=-1) + demand * peak_drag
    error = profile.season_error
    hours = profile.hours[..., limited]
    limited_hours = hours.sum(axis=-1)
    known = np.where(limited_hours > 0.0, limited_hours, 1.0)
    lost = (hours * slip[..., limited]).sum(axis=-1) / known
    air = np.nan_to_num(profile.airflow_m3s[..., limited])
    healthy = (profile.loss, profile.loss_low, profile.loss_high)
    falls = energy[..., limited] * (1.0 - (1.0 - slip[0][..., limited]) ** 2)

    def exchanged(other: Floats) -> Span:
        saved = [(exchange_saving(energy, 1.0 - one, 1.0 - other)).sum(axis=-1) for one in healthy]
        return _span(error, np.stack(saved))

    return DriveCost(
        slip_kwh=_positive(_span(error, slip_kwh)),
        drag_kwh=_positive(_span(error, drag_kwh)),
        energy_kwh=_positive(_span(error, slip_kwh, drag_kwh)),
        money=_positive(_span(error, slip_money, drag_money)),
        air_lost_pct=Span(*(100.0 * lost)),
        air_lost_m3s=(hours * air * slip[0][..., limited]).sum(axis=-1) / known,
        limited_hours=limited_hours,
        meter_falls_kwh=falls.sum(axis=-1),
        healthy_kwh=_span(error, np.stack([(energy * one).sum(axis=-1) for one in healthy])),
        healthy_money=(energy * profile.price * profile.loss).sum(axis=-1),
        running_hours=profile.hours.sum(axis=-1),
        shaft_kwh=(profile.hours * profile.motor_kw).sum(axis=-1),
        line_kwh=(profile.hours * profile.drawn_kw).sum(axis=-1),
        mean_price=_mean(profile.price, energy),
        cogged_kwh=exchanged(profile.loss_cogged),
        synchronous_kwh=exchanged(profile.loss_synchronous),
        direct_kwh=exchanged(np.zeros_like(profile.loss)),
    )


def exchange_saving(energy: ArrayLike, efficiency: ArrayLike, better: ArrayLike) -> Floats:
    """Energy saved when a drive is exchanged for a more efficient one at the same work.

    Parameters: `energy` used now, any shape [kWh]; `efficiency` of the present drive and of the `better` one,
    broadcast against it [-]. Returns: saving [kWh], negative where the other drive is worse.
    Equation: E (1 - eta / eta_better).
    Source: US Department of Energy, Motor Systems Tip Sheet 5, "Replace V-Belts with Notched or Synchronous
    Belt Drives", whose example it reproduces.
    """
    return as_floats(energy) * (1.0 - as_floats(efficiency) / as_floats(better))


def motor_power_after(slip: ArrayLike) -> Floats:
    """Motor power once tension is restored, over that before, at the same command.

    Parameters: `slip` that goes, any shape [-]. Returns: ratio [-]; 1.23 after a slip of a tenth.
    Equation: 1 / (1 - s)^2.
    Source: affinity laws; see `drive_cost`.
    """
    return 1.0 / np.square(1.0 - np.clip(as_floats(slip), 0.0, _MOST_SLIP))


def _peak_kw(profile: LoadProfile, per_slip: Floats, per_drag: Floats) -> tuple[Floats, Floats]:
    power = np.where(profile.hours > 0.0, profile.motor_kw, 0.0)[..., :LOADS]
    at = np.argmax(power, axis=-1)[..., None]

    def there(values: Floats) -> Floats:
        places = np.broadcast_to(at, (*values.shape[:-1], 1))
        return np.asarray(np.take_along_axis(values, places, axis=-1)[..., 0])

    line = there(power * profile.line_kw[..., :LOADS])
    return line * there(per_slip[..., :LOADS]), line * there(
        np.broadcast_to(per_drag, per_slip.shape)[..., :LOADS]
    )


def _mean(values: Floats, weight: Floats) -> Floats:
    total = weight.sum(axis=-1)
    return np.asarray((values * weight).sum(axis=-1) / np.where(total > 0.0, total, 1.0))


def _positive(span: Span) -> Span:
    return Span(span.centre, np.maximum(span.low, 0.0), span.high)


def _span(season_error: Floats, *parts: Floats) -> Span:
    # Each part (3, ...): centre, low, high. Deviations of parts, and of the season, add as squares.
    centre = np.sum([part[0] for part in parts], axis=0)
    season = np.square(_SAID * season_error * centre)
    below = np.sqrt(np.sum([np.square(part[0] - part[1]) for part in parts], axis=0) + season)
    above = np.sqrt(np.sum([np.square(part[2] - part[0]) for part in parts], axis=0) + season)
    return Span(centre, centre - below, centre + above)
