"""How hard does a fan work over a year, and is it under control or at its limit?"""

from dataclasses import dataclass, fields
from typing import Any, Final, Self

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.motor import line_power_by_shaft_power, line_power_from_shaft_power
from analytics.transmission import drive_loss_band, healthy_drive_loss
from analytics.vocabulary import Drive, SpeedControl

# Bounds of the load ratio; finer ones change no cost by a per cent.
EDGES: Final = (0.3, 0.45, 0.6, 0.75, 0.9, 1.05)
LOADS: Final = len(EDGES) + 1
BINS: Final = 2 * LOADS
# A command this near its highest cannot rise to make up for slip.
_AT_LIMIT: Final = 0.985
# A command that moves less than this over the year follows nothing.
_LEAST_MOVE: Final = 0.01
HOURS_A_YEAR: Final = 8760.0
_LEAST_SEASON: Final = 0.1


@dataclass(frozen=True, slots=True)
class LoadProfile:
    """A healthy fan's year by load; arrays (..., BINS), first the hours in which the command can rise.

    `hours` a year [h]; `motor_kw` mean shaft power of the healthy drive; `load_ratio` torque over the
    reference torque; `drawn_kw` electrical power then, `line_kw` what one kW more at the shaft adds to it;
    `price` mean of a kWh; `airflow_m3s`, NaN where not measured; `loss`, `loss_low`, `loss_high` [-] what a
    healthy drive of the kind loses, `loss_cogged` and `loss_synchronous` what those belts would.
    `season_error` (...,) the relative deviation of a year's sums that unseen months leave.
    """

    hours: Floats
    motor_kw: Floats
    load_ratio: Floats
    drawn_kw: Floats
    line_kw: Floats
    price: Floats
    airflow_m3s: Floats
    loss: Floats
    loss_low: Floats
    loss_high: Floats
    loss_cogged: Floats
    loss_synchronous: Floats
    season_error: Floats

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON; NaN, which JSON does not know, as null."""
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}

    @classmethod
    def stacked(cls, written: list[dict[str, Any]]) -> Self:
        """Return profiles read again from JSON, the fans on the first axis."""
        return cls(
            **{
                field.name: np.array([one[field.name] for one in written], dtype=np.float64)
                for field in fields(cls)
            }
        )


def load_profile(
    motor_kw: Floats,
    load_ratio: Floats,
    price: Floats,
    airflow_m3s: Floats,
    *,
    speed_fraction: Floats,
    is_limited: Bools,
    hours_a_year: float,
    season_error: float,
    rated_power_w: float,
    reference_torque: float,
    drive: Drive,
    has_vfd: bool,
    motor_efficiency: float | None,
) -> LoadProfile:
    """Sum a fan's hours up by load, apart for hours under control and hours at the limit.

    The hours given stand for all hours of the year.

    Parameters: `motor_kw` of the healthy drive, `load_ratio`, `price`, `airflow_m3s`, `is_limited` and
    `speed_fraction`, output frequency over the motor's, all (hours,); `hours_a_year` that the fan runs [h];
    `season_error` [-]; `rated_power_w` of all motors [W]; `reference_torque` [of rated]; `drive`; `has_vfd`;
    `motor_efficiency` of the nameplate, None for the usual.
    Returns: `LoadProfile` of one fan, arrays (BINS,); empty bins hold no hours.
    Source: part-load curves of `analytics.motor` and `analytics.transmission`; the healthy drive's band is
    the survey's low and high line beside the default curve.
    """
    bin_of = np.searchsorted(EDGES, load_ratio) + np.where(is_limited, LOADS, 0)
    count = np.bincount(bin_of, minlength=BINS).astype(np.float64)

    def mean(values: Floats, weight: Floats | None = None) -> Floats:
        is_known = ~np.isnan(values)
        by = is_known.astype(np.float64) if weight is None else np.where(is_known, weight, 0.0)
        sums = np.bincount(bin_of, weights=np.where(is_known, values, 0.0) * by, minlength=BINS)
        weights = np.bincount(bin_of, weights=by, minlength=BINS)
        mean_of = sums / np.where(weights > 0.0, weights, 1.0)
        return np.asarray(np.where(weights > 0.0, mean_of, np.nan))

    power, speed = np.nan_to_num(mean(motor_kw)), np.nan_to_num(mean(speed_fraction), nan=1.0)
    ratio = np.nan_to_num(mean(load_ratio), nan=1.0)
    motor = (1000.0 * power, rated_power_w, has_vfd, motor_efficiency, speed)
    loss = healthy_drive_loss(ratio * reference_torque, rated_power_w, drive)
    band = drive_loss_band(rated_power_w)
    middle = healthy_drive_loss(1.0, rated_power_w, Drive.V_BELT)
    is_belt = drive is not Drive.DIRECT
    return LoadProfile(
        hours=count / max(len(motor_kw), 1) * hours_a_year,
        motor_kw=power,
        load_ratio=ratio,
        drawn_kw=line_power_from_shaft_power(*motor) / 1000.0,
        line_kw=line_power_by_shaft_power(*motor),
        price=np.nan_to_num(mean(price, motor_kw)),
        airflow_m3s=mean(airflow_m3s),
        loss=loss,
        loss_low=np.maximum(loss + (band.low - middle), 0.0) if is_belt else loss,
        loss_high=loss + (band.high - middle) if is_belt else loss,
        loss_cogged=healthy_drive_loss(ratio * reference_torque, rated_power_w, Drive.COGGED_BELT),
        loss_synchronous=healthy_drive_loss(ratio * reference_torque, rated_power_w, Drive.SYNCHRONOUS_BELT),
        season_error=np.asarray(season_error),
    )


def is_at_limit(speed_fraction: Floats, greatest: float, control: SpeedControl) -> Bools:
    """Tell in which hours no command can rise: at full command, at fixed speed, or where it never moves.

    Parameters: `speed_fraction` (hours,); `greatest` that the drive may put out; `control`.
    Returns: (hours,). The bounds are ours: 1.5 % below full command, 1 % of movement over all hours.
    """
    if control is not SpeedControl.VFD:
        return np.ones(len(speed_fraction), dtype=np.bool_)
    moves = np.nanstd(speed_fraction) > _LEAST_MOVE * np.nanmean(speed_fraction)
    return np.asarray((speed_fraction >= _AT_LIMIT * greatest) | (not moves))


def season_error(weekly_kw: Floats, seen_share: float) -> float:
    """Return the relative deviation that the unseen part of a year leaves in a year's sums.

    Parameters: `weekly_kw` (weeks,), mean power of each week seen; `seen_share` of a year.
    Returns: deviation [-], 0 for a whole year.
    Equation: max(sd / mean, 0.1) sqrt(1 - seen): seasons differ at least as much as weeks. Ours, no source.
    """
    mean = float(np.mean(weekly_kw)) if len(weekly_kw) else 0.0
    spread = float(np.std(weekly_kw)) / mean if mean > 0.0 else 0.0
    return max(spread, _LEAST_SEASON) * float(np.sqrt(max(1.0 - seen_share, 0.0)))


def _plain(value: Floats) -> Any:
    rounded = np.asarray(value, dtype=np.float64)
    if rounded.ndim == 0:
        return float(rounded)
    return [None if np.isnan(one) else float(f"{one:.6g}") for one in rounded]
