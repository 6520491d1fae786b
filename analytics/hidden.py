"""What could be there and not be seen: slip and drag that a fan with fewer points would not show.

Two causes that one reading cannot part hide each other: "not seen" is not "none". The rows of such fans reach
as far up as slip and drag together may without showing.
"""

from dataclasses import dataclass, replace

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.day_reading import DayReading
from analytics.ledger import NAMED_CAUSES, LedgerRows
from analytics.machine import Machine
from analytics.model import CAUSES, Operating, Parameter
from analytics.priors import CAUSE_TRAITS, PINNED_SD
from analytics.scaled_hours import Channels
from analytics.state import start
from analytics.vocabulary import Cause

# What a week of days like this one would show.
DAYS_TOGETHER = 7.0
_DEVIATIONS = 1.96
# How much wider what hides reaches without an airflow. From drawn fans near one operating point.
FLOW_DOUBT = 2.0
_BOTH_WAYS = ("drag_ref", "drive_loss_change")
_SLIP, _DRAG = CAUSES.index(Parameter.SLIP), CAUSES.index(Parameter.DRAG)
# More power than usual at a speed: drag, more air, or the meter. One reading cannot part them.
_EXCESS = [NAMED_CAUSES.index(cause) for cause in (Cause.DRAG, Cause.AIR_PATH, Cause.CURRENT_SENSOR)]


@dataclass(frozen=True, slots=True)
class Hidden:
    """What a batch of fans cannot tell; first axis the fans.

    `prior` (fans, WIDTH, WIDTH) covariance of the carried parameters with slip and drag as large as faults
    are; `is_partial` (fans,) where a reading is missing that would part them; `is_excess_only` (fans,) where
    the load alone is read; `is_load_silent` (fans,) where no load is read or nothing beside it;
    `is_flow_free` (fans,) where pressure and load stand in for an airflow; `reference_torque` (fans,).
    """

    prior: Floats
    is_partial: Bools
    is_excess_only: Bools
    is_load_silent: Bools
    is_flow_free: Bools
    reference_torque: Floats


def is_partial(channels: Channels) -> bool:
    """Tell whether slip and drag can hide behind each other or behind nothing."""
    knows_slip = channels.has_wheel_speed or (channels.has_airflow and channels.has_pressure)
    return not (knows_slip and channels.has_load)


def hidden(curves: HealthyCurves, machine: Machine) -> Hidden:
    """Return what one fan cannot tell, a batch of one."""
    prior = start(curves, machine).covariance[:, 0].copy()
    torque = curves.reference_torque
    slip_sd = CAUSE_TRAITS[Parameter.SLIP].fault_sd if machine.drive.can_slip else PINNED_SD
    prior[:, _SLIP, _SLIP] = slip_sd**2
    prior[:, _DRAG, _DRAG] = (CAUSE_TRAITS[Parameter.DRAG].fault_sd * torque) ** 2
    channels = curves.channels
    return Hidden(
        prior,
        np.array([is_partial(channels)]),
        np.array([channels.has_load and not channels.tells_causes]),
        np.array([not channels.has_load or not channels.tells_causes]),
        np.array([channels.is_flow_free]),
        np.array([torque]),
    )


def stack_hidden(several: list[Hidden]) -> Hidden:
    """Join single fans into a batch."""
    return Hidden(*(np.concatenate([getattr(h, name) for h in several]) for name in Hidden.__slots__))


def unseen_deviations(known: Hidden, information: Floats, days: float = DAYS_TOGETHER) -> Floats:
    """Return the covariance (fans, 2, 2) of slip and drag left open by so many days like one.

    Parameters: `known`; `information` (fans, WIDTH, WIDTH) of a day; `days` of it.
    Equation: (P^-1 + days I)^-1, P the covariance of curves, density and ordinary wander with both open.
    """
    open_to = np.linalg.inv(np.linalg.inv(known.prior) + days * information)
    pair = [_SLIP, _DRAG]
    return np.ascontiguousarray(open_to[:, pair][:, :, pair])


def with_hidden(rows: LedgerRows, known: Hidden, reading: DayReading, hours: Operating) -> LedgerRows:
    """Return the rows with intervals that reach as far up as what hides may.

    Rows of fans with every reading are left as they are.
    Parameters: `rows`; `known`; `reading` of the day; its `hours`.
    """
    if not known.is_partial.any():
        return rows
    # The system moves a lone load as much as the drive does: it narrows nothing.
    information = np.where(known.is_excess_only[:, None, None], 0.0, reading.information)
    pair = unseen_deviations(known, information)
    # Where nobody measures the flow, how the curves run along it is the prior's in a narrow range.
    doubt = np.where(known.is_flow_free, FLOW_DOUBT, 1.0)
    pair = pair * np.square(doubt)[:, None, None]
    slip_sd, drag_sd = np.sqrt(pair[:, 0, 0]), np.sqrt(pair[:, 1, 1])
    speed = np.where(hours.is_used, reading.motor_speed, 0.0)
    # A rise of torque over torque, weighted by motor energy as the ledger weighs it.
    share = speed.sum(axis=1) / np.maximum((speed * reading.torque).sum(axis=1), 1e-9)
    loss_var = pair[:, 0, 0] + np.square(share) * pair[:, 1, 1] + 2.0 * share * pair[:, 0, 1]
    reach = {
        "slip": slip_sd,
        "slip_change": slip_sd,
        "slip_ref": slip_sd,
        "drag_ref": drag_sd / known.reference_torque,
        "drive_loss": np.sqrt(np.maximum(loss_var, 0.0)),
        "drive_loss_change": np.sqrt(np.maximum(loss_var, 0.0)),
    }
    told: dict[str, Floats] = {}
    for name, deviation in reach.items():
        centre = getattr(rows, f"{name}_pct")
        high = getattr(rows, f"{name}_high_pct")
        farther = np.maximum(high, centre + _DEVIATIONS * 100.0 * deviation)
        told[f"{name}_high_pct"] = np.where(known.is_partial, np.minimum(farther, 100.0), high)
        if name in _BOTH_WAYS:
            # Without a load that the drive alone moves, what is unseen may have fallen as well.
            low = getattr(rows, f"{name}_low_pct")
            lower = np.minimum(low, centre - _DEVIATIONS * 100.0 * deviation)
            told[f"{name}_low_pct"] = np.where(known.is_load_silent, lower, low)
    return _of_excess(replace(rows, **told), known)


def _of_excess(rows: LedgerRows, known: Hidden) -> LedgerRows:
    # The system may have taken the power: nothing of it need be the drive's.
    is_excess = known.is_excess_only
    if not is_excess.any():
        return rows
    shares = rows.shares.copy()
    spread = rows.shares[:, _EXCESS].mean(axis=1, keepdims=True)
    shares[:, _EXCESS] = np.where(is_excess[:, None], spread, rows.shares[:, _EXCESS])
    return replace(rows, drag_ref_pct=np.where(is_excess, 0.0, rows.drag_ref_pct), shares=shares)
