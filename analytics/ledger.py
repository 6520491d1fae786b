"""What is the drive losing today, how sure is that, and what explains it: one row a fan and day."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from analytics.arrays import Bools, Floats
from analytics.explanations import CAUSE_COUNT
from analytics.mixtures import bounds, held_weights
from analytics.model import CAUSES, EXPONENT_RANGE, LoadKind, Operating, Parameter
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.state import DayReading, State
from analytics.transmission import drive_loss_band, healthy_drive_loss
from analytics.vocabulary import Cause, Drive
from analytics.watch import CARRIED, Watch

# A cause is named when it moves pressure or load by this much; less is nobody's fault.
MATERIAL_EFFECT = 0.02
MATERIAL_SLIP = 0.01
NAMED_SHARE = 0.75
_BAND_DEVIATIONS = 3.3
_SLIP, _DRAG = CAUSES.index(Parameter.SLIP), CAUSES.index(Parameter.DRAG)
_EXPONENT = CARRIED.index(Parameter.SLIP_EXPONENT)

CAUSE_OF: dict[Parameter, Cause] = {
    Parameter.SLIP: Cause.BELT_SLIP,
    Parameter.DRAG: Cause.DRAG,
    Parameter.RATIO: Cause.RATIO_CHANGE,
    Parameter.WHEEL: Cause.WHEEL,
    Parameter.AIRFLOW_GAIN: Cause.AIRFLOW_SENSOR,
    Parameter.AIRFLOW_ZERO: Cause.AIRFLOW_SENSOR,
    Parameter.PRESSURE_GAIN: Cause.PRESSURE_SENSOR,
    Parameter.PRESSURE_ZERO: Cause.PRESSURE_SENSOR,
    Parameter.LOAD_GAIN: Cause.CURRENT_SENSOR,
    Parameter.SPEED_SCALE: Cause.SPEED_NOT_FOLLOWED,
    Parameter.AIR_PATH: Cause.AIR_PATH,
}
NAMED_CAUSES: tuple[Cause, ...] = (Cause.NONE, *dict.fromkeys(CAUSE_OF.values()))
_NAMED_INDEX = np.array([NAMED_CAUSES.index(CAUSE_OF[cause]) for cause in CAUSES])


@dataclass(frozen=True, slots=True)
class DriveFacts:
    """What the ledger must know of a batch of drives; every field has shape (fans,).

    `can_slip`; `is_direct`; `rated_power_w` of all motors; `rated_slip`; `loss_sd` the spread of the
    healthy drive's own loss.
    """

    drives: tuple[Drive, ...]
    can_slip: Bools
    rated_power_w: Floats
    rated_slip: Floats
    loss_sd: Floats


def drive_facts(drives: tuple[Drive, ...], rated_power_w: Floats, rated_slip: Floats) -> DriveFacts:
    """Return the drives' facts; the healthy loss is as wide as the published low and high loss curves."""
    can_slip = np.array([drive.can_slip for drive in drives])
    band = drive_loss_band(rated_power_w)
    spread = (band.high - band.low) / _BAND_DEVIATIONS
    is_direct = np.array([drive is Drive.DIRECT for drive in drives])
    return DriveFacts(drives, can_slip, rated_power_w, rated_slip, np.where(is_direct, 0.0, spread))


@dataclass(frozen=True, slots=True)
class LedgerRows:
    """A day's judgement of a batch of fans; every field has shape (fans,), per cent and kW.

    Names are those of `export daily`. `shares` (fans, named causes) is the posterior of each cause.
    """

    slip_pct: Floats
    slip_low_pct: Floats
    slip_high_pct: Floats
    slip_change_pct: Floats
    slip_change_low_pct: Floats
    slip_change_high_pct: Floats
    slip_ref_pct: Floats
    slip_ref_low_pct: Floats
    slip_ref_high_pct: Floats
    drag_ref_pct: Floats
    drag_ref_low_pct: Floats
    drag_ref_high_pct: Floats
    drive_loss_pct: Floats
    drive_loss_low_pct: Floats
    drive_loss_high_pct: Floats
    drive_loss_change_pct: Floats
    drive_loss_change_low_pct: Floats
    drive_loss_change_high_pct: Floats
    excess_kw: Floats
    shares: Floats

    def columns(self) -> dict[str, Floats]:
        """Return the numbers by the name of their column."""
        return {field.name: getattr(self, field.name) for field in fields(self) if field.name != "shares"}


def ledger_rows(
    state: State,
    constants: Watch,
    hours: Operating,
    reading: DayReading,
    facts: DriveFacts,
    healthy_slip: Floats | None = None,
) -> LedgerRows:
    """Write a day's row for a batch of fans.

    The change is against the healthy drive in the same hours; the level adds the healthy belt's creep
    at the day's torque, and the reference values are those at the reference torque.

    Parameters: `state` after the day; `constants`; `hours`; `reading` of the day; `facts`; `healthy_slip`
    (fans, 2), the healthy period's slip at the reference torque and its deviation [%], the usual creep
    where no tachometer pair says otherwise.
    Returns: `LedgerRows`, per cent, low and high bounding the central 95 %.
    Equation: s(T) = S_h t + D t^beta, t = T / T_ref, weighted by motor shaft energy; loss change =
    (s - s_h)(1 - healthy loss) + dT / T.
    """
    weight = held_weights(state, constants.beliefs)
    power = np.where(hours.is_used, reading.torque * reading.motor_speed, 0.0)
    energy = np.maximum(power.sum(axis=1), 1e-9)
    exponent = np.clip(state.mean[..., _EXPONENT], *EXPONENT_RANGE)
    raised = np.power(reading.load_ratio[:, None], exponent[..., None])
    slip_factor = (power[:, None] * raised).sum(axis=2) / energy[:, None]
    creep_factor = (power * reading.load_ratio).sum(axis=1) / energy
    speed = np.where(hours.is_used, reading.motor_speed, 0.0)
    drag_factor = speed.sum(axis=1) / energy
    healthy = _healthy_loss(reading, hours, power, energy, facts)

    slip, drag = state.mean[..., _SLIP], state.mean[..., _DRAG]
    slip_var = state.covariance[..., _SLIP, _SLIP]
    drag_var = state.covariance[..., _DRAG, _DRAG]
    both = state.covariance[..., _SLIP, _DRAG]
    # What the exponent leaves open away from the reference torque.
    log_ratio = np.log(np.maximum(creep_factor, 0.05))[:, None]
    bend_var = np.square(slip * slip_factor * log_ratio) * state.covariance[..., _EXPONENT, _EXPONENT]
    change_var = np.square(slip_factor) * slip_var + bend_var
    kept = (1.0 - healthy)[:, None]
    loss = kept * slip_factor * slip + drag_factor[:, None] * drag
    loss_var = np.square(kept) * change_var + np.square(drag_factor[:, None]) * drag_var
    loss_var = loss_var + 2.0 * kept * slip_factor * drag_factor[:, None] * both

    known = np.broadcast_to(HEALTHY_SLIP_PCT, (len(weight), 2)) if healthy_slip is None else healthy_slip
    creep_mean = np.where(facts.can_slip, 0.01 * known[:, 0], 0.0)
    creep_spread = np.where(facts.can_slip, 0.01 * known[:, 1], 0.0)
    is_fixed = ~facts.can_slip
    change = _summary(weight, slip_factor * slip, np.sqrt(change_var), is_fixed)
    level_sd = np.sqrt(change_var + np.square(creep_factor * creep_spread)[:, None])
    level_mean = slip_factor * slip + (creep_factor * creep_mean)[:, None]
    level = _floored(_summary(weight, level_mean, level_sd, is_fixed))
    reference_sd = np.sqrt(slip_var + np.square(creep_spread)[:, None])
    reference = _floored(_summary(weight, slip + creep_mean[:, None], reference_sd, is_fixed))
    torque = constants.plant.reference_torque[:, None]
    nothing = np.zeros_like(is_fixed)
    drag_ref = _summary(weight, drag / torque, np.sqrt(drag_var) / torque, nothing)
    loss_change = _summary(weight, loss, np.sqrt(np.maximum(loss_var, 0.0)), nothing)
    total_sd = np.sqrt(np.maximum(loss_var, 0.0) + np.square(facts.loss_sd)[:, None])
    total = _floored(_summary(weight, loss + healthy[:, None], total_sd, nothing))
    return LedgerRows(
        *level,
        *change,
        *reference,
        *drag_ref,
        *total,
        *loss_change,
        _excess_kw(weight * (slip * slip_factor), weight * drag, power, speed, hours=hours, facts=facts),
        _as_amps_tell(cause_shares(state, weight, reading), constants.plant.load_kind),
    )


def _healthy_loss(
    reading: DayReading, hours: Operating, power: Floats, energy: Floats, facts: DriveFacts
) -> Floats:
    losses = [
        healthy_drive_loss(torque, rated, drive)
        for torque, rated, drive in zip(reading.torque, facts.rated_power_w, facts.drives, strict=True)
    ]
    lost: Floats = np.where(hours.is_used, power * np.stack(losses), 0.0).sum(axis=1)
    return lost / energy


def _summary(
    weight: Floats, mean: Floats, deviation: Floats, is_fixed: Bools
) -> tuple[Floats, Floats, Floats]:
    centre = (weight * mean).sum(axis=1)
    low, high = bounds(weight, mean, deviation)
    return tuple(np.where(is_fixed, 0.0, 100.0 * part) for part in (centre, low, high))  # type: ignore[return-value]


def _floored(parts: tuple[Floats, Floats, Floats]) -> tuple[Floats, Floats, Floats]:
    # A level cannot go below zero; its change can.
    centre, low, high = (np.maximum(part, 0.0) for part in parts)
    return centre, low, high


def _excess_kw(
    slip: Floats, drag: Floats, power: Floats, speed: Floats, *, hours: Operating, facts: DriveFacts
) -> Floats:
    number = np.maximum(hours.is_used.sum(axis=1), 1)
    per_unit = (slip.sum(axis=1) * power.sum(axis=1) + drag.sum(axis=1) * speed.sum(axis=1)) / number
    return np.asarray(per_unit / (1.0 - facts.rated_slip) * facts.rated_power_w / 1000.0)


def cause_shares(state: State, weight: Floats, reading: DayReading) -> Floats:
    """Return the posterior probability of each named cause, `none` first.

    Under each explanation the cause that moves pressure or load most is named, `none` where nothing
    moves either by more than MATERIAL_EFFECT.
    """
    effect = np.abs(reading.effect[:, None, :, :CAUSE_COUNT] * state.mean[:, :, None, :CAUSE_COUNT]).max(
        axis=2
    )
    strongest = effect.argmax(axis=2)
    # A light day hides a slip that the carried state knows of.
    is_slipping = (strongest == _SLIP) & (state.mean[..., _SLIP] > MATERIAL_SLIP)
    is_material = (effect.max(axis=2) > MATERIAL_EFFECT) | is_slipping
    named = np.where(is_material, _NAMED_INDEX[strongest], 0)
    chosen = named[..., None] == np.arange(len(NAMED_CAUSES))
    return np.asarray((weight[..., None] * chosen).sum(axis=1))


def _as_amps_tell(shares: Floats, load_kind: Floats) -> Floats:
    # With amps alone a wrong current reading has the shape of drag: neither is named without the other.
    told = shares.copy()
    both = [NAMED_CAUSES.index(Cause.DRAG), NAMED_CAUSES.index(Cause.CURRENT_SENSOR)]
    is_amps = load_kind == LoadKind.CURRENT
    told[:, both] = np.where(is_amps[:, None], shares[:, both].mean(axis=1, keepdims=True), shares[:, both])
    return told


def verdict(shares: Floats) -> tuple[Cause, float, tuple[Cause, ...]]:
    """Name the cause of one fan's day.

    Parameters: `shares` (named causes,). Returns: the cause, its share, and the causes that hold nine
    tenths of the belief in order; `unclear` where none holds enough.
    """
    order = np.argsort(-shares, kind="stable")
    ranked = [NAMED_CAUSES[i] for i in order]
    needed = int(np.searchsorted(np.cumsum(shares[order]), 0.9)) + 1
    rest = tuple(ranked[: max(needed, 2)])
    first, share = ranked[0], float(shares[order[0]])
    if first is Cause.NONE or share >= NAMED_SHARE:
        return first, share, rest
    return Cause.UNCLEAR, share, rest


def likeliest_fault(shares: Sequence[float]) -> Cause:
    """Name the cause that most speaks for besides none, however little that is."""
    faults = list(zip(NAMED_CAUSES, shares, strict=True))[1:]
    return max(faults, key=lambda pair: pair[1])[0]
