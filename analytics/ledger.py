"""What is the drive losing today, how sure is that, and what explains it: one row a fan and day."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analytics.arrays import Bools, Floats
from analytics.day_reading import DayReading
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE
from analytics.look_alikes import undecided_weights
from analytics.machine import Machine
from analytics.marginals import Marginals
from analytics.mixtures import VERDICT_SHARE, bounds, held_weights, open_weights, told_weights
from analytics.model import CAUSES, LoadKind, Operating, Parameter
from analytics.motor import line_power_by_shaft_power
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.slip_law import mean_slip_above_creep
from analytics.state import State
from analytics.transmission import drive_loss_band, full_load_efficiency, part_load_loss
from analytics.vocabulary import Cause, Drive, SpeedControl
from analytics.watch import CARRIED, Watch

# A cause is named when it moves pressure or load by this much; less is nobody's fault.
MATERIAL_EFFECT = 0.02
SURE_DEVIATIONS = 2.0
# Nobody calibrates a station for less than this of its reading.
MATERIAL_STATION = 0.06
MATERIAL_SLIP = 0.015
# The model's error of a slip's or a drag's size, of itself; and of a slip carried by the slip law from the
# day's torques to the reference torque.
SCALE_ERROR = 0.10
REFERENCE_ERROR = 0.15
MATERIAL_DRAG = 0.02
NAMED_SHARE = 0.75
# A fan of which a fault is likelier than none is not said to be sound.
SOUND_SHARE = 0.5
_BAND_DEVIATIONS = 3.3
_LEAST_SD = 1e-12
_LEAST_COUNTED = 1e-300
_SLIP_STEP, _STEEPNESS_STEP = 1e-4, 1e-3
_SLIP, _DRAG = CAUSES.index(Parameter.SLIP), CAUSES.index(Parameter.DRAG)
_LOAD_GAIN = CAUSES.index(Parameter.LOAD_GAIN)
_STATION = [CAUSES.index(Parameter.AIRFLOW_GAIN), CAUSES.index(Parameter.AIRFLOW_ZERO)]
_ALIKE_IN_AMPS = (Cause.DRAG, Cause.CURRENT_SENSOR)
_STEEPNESS = CARRIED.index(Parameter.SLIP_STEEPNESS)

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
_NONE = NAMED_CAUSES.index(Cause.NONE)
_NAMED_INDEX = np.array([NAMED_CAUSES.index(CAUSE_OF[cause]) for cause in CAUSES])


@dataclass(frozen=True, slots=True)
class DriveFacts:
    """What the ledger must know of a batch of drives; every field has shape (fans,).

    `can_slip`; `rated_power_w` of all motors; `rated_slip`; `loss_sd` the spread of the healthy drive's own
    loss, `full_load_efficiency` what it hands on at full load. `has_line_power` whether the line's power is
    trended, `has_vfd` whether a frequency drive stands before the motor.
    """

    drives: tuple[Drive, ...]
    can_slip: Bools
    rated_power_w: Floats
    rated_slip: Floats
    loss_sd: Floats
    full_load_efficiency: Floats
    has_line_power: Bools
    has_vfd: Bools


def drive_facts(machines: Sequence[Machine], rated_slip: Floats, has_line_power: Bools) -> DriveFacts:
    """Return the drives' facts; the healthy loss is as wide as the published low and high loss curves."""
    drives = tuple(machine.drive for machine in machines)
    rated_power_w = np.array([m.motor_rated_power_w * m.motor_count for m in machines])
    can_slip = np.array([drive.can_slip for drive in drives])
    has_vfd = np.array([machine.speed_control is SpeedControl.VFD for machine in machines])
    band = drive_loss_band(rated_power_w)
    spread = (band.high - band.low) / _BAND_DEVIATIONS
    is_direct = np.array([drive is Drive.DIRECT for drive in drives])
    efficiency = np.array(
        [full_load_efficiency(rated, drive) for rated, drive in zip(rated_power_w, drives, strict=True)]
    )
    return DriveFacts(
        drives,
        can_slip,
        rated_power_w,
        rated_slip,
        np.where(is_direct, 0.0, spread),
        efficiency,
        has_line_power,
        has_vfd,
    )


def stack_facts(several: Sequence[DriveFacts]) -> DriveFacts:
    """Join several batches' facts into one."""
    drives = tuple(drive for facts in several for drive in facts.drives)
    names = [name for name in DriveFacts.__slots__ if name != "drives"]
    return DriveFacts(
        drives, *(np.concatenate([getattr(facts, name) for facts in several]) for name in names)
    )


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
    state: Marginals,
    constants: Watch,
    hours: Operating,
    reading: DayReading,
    facts: DriveFacts,
    healthy_slip: Floats | None = None,
) -> LedgerRows:
    """Write a day's row for a batch of fans.

    The change is against the healthy drive in the same hours; the level adds the healthy belt's creep
    at the day's torque, and the reference values are those at the reference torque.

    Parameters: `state`, the marginals of the states after the day; `constants`; `hours`; `reading` of the
    day; `facts`; `healthy_slip` (fans, 2), the healthy period's slip at the reference torque and its
    deviation [%], the usual creep where no tachometer pair says otherwise.
    Returns: `LedgerRows`, per cent, low and high bounding the central 95 %.
    Equation: the slip law's mean over the day's hours, weighted by motor shaft energy; loss change =
    (s - s_h)(1 - healthy loss) + dT / T.
    """
    weight = told_weights(held_weights(state, constants.beliefs), state, constants.plant)
    power = np.where(hours.is_used, reading.torque * reading.motor_speed, 0.0)
    energy = np.maximum(power.sum(axis=1), 1e-9)
    slipped, by_slip, by_steepness = _slipped(state, reading.load_ratio, power / energy[:, None])
    creep_factor = (power * reading.load_ratio).sum(axis=1) / energy
    speed = np.where(hours.is_used, reading.motor_speed, 0.0)
    drag_factor = speed.sum(axis=1) / energy
    healthy = _healthy_loss(reading, hours, power, energy, facts)

    slip, drag = state.mean[..., _SLIP], state.mean[..., _DRAG]
    slip_var, drag_var, both = state.variance[..., _SLIP], state.variance[..., _DRAG], state.slip_drag
    bent = by_steepness * state.variance[..., _STEEPNESS] + 2.0 * by_slip * state.slip_steepness
    change_var = np.maximum(np.square(by_slip) * slip_var + by_steepness * bent, 0.0)
    # No curve, motor or slip law is the fan's own: a slip or a drag is known to a tenth of itself.
    change_var = change_var + np.square(SCALE_ERROR * slipped)
    slip_var = slip_var + np.square(REFERENCE_ERROR * slip)
    drag_var = drag_var + np.square(SCALE_ERROR * drag)
    # Bearings do not give power back: a drag below nothing is the model's error, and as wide as itself.
    drag_var = drag_var + np.square(np.minimum(drag, 0.0) / SURE_DEVIATIONS)
    kept = (1.0 - healthy)[:, None]
    loss = kept * slipped + drag_factor[:, None] * drag
    loss_var = np.square(kept) * change_var + np.square(drag_factor[:, None]) * drag_var
    loss_var = loss_var + 2.0 * kept * by_slip * drag_factor[:, None] * both

    known = np.broadcast_to(HEALTHY_SLIP_PCT, (len(weight), 2)) if healthy_slip is None else healthy_slip
    creep_mean = np.where(facts.can_slip, 0.01 * known[:, 0], 0.0)
    creep_spread = np.where(facts.can_slip, 0.01 * known[:, 1], 0.0)
    is_fixed = ~facts.can_slip
    level_sd = np.sqrt(change_var + np.square(creep_factor * creep_spread)[:, None])
    level_mean = slipped + (creep_factor * creep_mean)[:, None]
    reference_sd = np.sqrt(slip_var + np.square(creep_spread)[:, None])
    torque = constants.plant.reference_torque[:, None]
    nothing = np.zeros_like(is_fixed)
    loss_var = np.maximum(loss_var, 0.0)
    total_sd = np.sqrt(loss_var + np.square(facts.loss_sd)[:, None])
    quantities = (
        _Quantity(level_mean, level_sd, is_fixed, is_level=True),
        _Quantity(slipped, np.sqrt(change_var), is_fixed),
        _Quantity(slip + creep_mean[:, None], reference_sd, is_fixed, is_level=True),
        _Quantity(drag / torque, np.sqrt(drag_var) / torque, nothing),
        _Quantity(loss + healthy[:, None], total_sd, nothing, is_level=True),
        _Quantity(loss, np.sqrt(loss_var), nothing),
    )
    excess = _excess_kw(weight * slipped, weight * drag, power, speed, hours=hours, facts=facts)
    shares = cause_shares(state, weight, reading, constants)
    told = [*_summaries(weight, quantities), excess, shares]
    return LedgerRows(*told)


def _slipped(state: Marginals, load_ratio: Floats, share: Floats) -> tuple[Floats, Floats, Floats]:
    # The day's mean slip above the healthy creep, and its slopes by slip and by the law's steepness.
    slip, steepness = state.mean[..., _SLIP], state.mean[..., _STEEPNESS]
    here = mean_slip_above_creep(load_ratio, share, slip, steepness)
    more = mean_slip_above_creep(load_ratio, share, slip + _SLIP_STEP, steepness)
    steeper = mean_slip_above_creep(load_ratio, share, slip, steepness + _STEEPNESS_STEP)
    return here, (more - here) / _SLIP_STEP, (steeper - here) / _STEEPNESS_STEP


def _healthy_loss(
    reading: DayReading, hours: Operating, power: Floats, energy: Floats, facts: DriveFacts
) -> Floats:
    losses = np.zeros_like(reading.torque)
    # Fans of one drive together: what a drive loses costs the same for one as for all.
    for drive in set(facts.drives):
        mine = [i for i, one in enumerate(facts.drives) if one is drive]
        losses[mine] = part_load_loss(reading.torque[mine], facts.full_load_efficiency[mine, None], drive)
    lost: Floats = np.where(hours.is_used, power * losses, 0.0).sum(axis=1)
    return lost / energy


@dataclass(frozen=True, slots=True)
class _Quantity:
    """One number of the row under each explanation.

    `mean`, `deviation` (fans, explanations); `is_fixed` (fans,) where it is nothing by the drive's kind;
    `is_level` where it cannot go below zero, as a change can.
    """

    mean: Floats
    deviation: Floats
    is_fixed: Bools
    is_level: bool = False


def _summaries(weight: Floats, quantities: tuple[_Quantity, ...]) -> list[Floats]:
    # Centre, low and high of each, per cent; all bounds are found at once, as it is the same work for each.
    fans = len(weight)
    is_open = ~np.concatenate([q.is_fixed for q in quantities])
    low, high = np.zeros(len(is_open)), np.zeros(len(is_open))
    low[is_open], high[is_open] = bounds(
        np.tile(open_weights(weight), (len(quantities), 1))[is_open],
        np.concatenate([q.mean for q in quantities])[is_open],
        np.concatenate([q.deviation for q in quantities])[is_open],
    )
    found = []
    for i, quantity in enumerate(quantities):
        mine = slice(i * fans, (i + 1) * fans)
        for part in ((weight * quantity.mean).sum(axis=1), low[mine], high[mine]):
            told = np.where(quantity.is_fixed, 0.0, 100.0 * part)
            found.append(np.maximum(told, 0.0) if quantity.is_level else told)
    return found


def _excess_kw(
    slip: Floats, drag: Floats, power: Floats, speed: Floats, *, hours: Operating, facts: DriveFacts
) -> Floats:
    # At the motor shaft; where the line's power is trended, what the line brings for it.
    watts = (facts.rated_power_w / (1.0 - facts.rated_slip))[:, None]
    excess = (slip.sum(axis=1)[:, None] * power + drag.sum(axis=1)[:, None] * speed) * watts
    for has_vfd in (False, True):
        mine = facts.has_line_power & (facts.has_vfd == has_vfd)
        if mine.any():
            # By the same motor and drive by which the line's reading was turned into the shaft's: a motor
            # without a drive has the line's frequency, whatever its speed.
            rated, shaft = facts.rated_power_w[mine, None], (power * watts)[mine]
            frequency = np.where(hours.is_used & has_vfd, hours.speed, 1.0)[mine]
            excess[mine] *= line_power_by_shaft_power(shaft, rated, has_vfd, speed_fraction=frequency)
    number = np.maximum(hours.is_used.sum(axis=1), 1)
    return np.asarray(excess.sum(axis=1) / number / 1000.0)


def cause_shares(state: State | Marginals, weight: Floats, reading: DayReading, constants: Watch) -> Floats:
    """Return the posterior probability of each named cause, `none` first.

    Under each explanation a drive's fault of a size that matters is named, else what is at work of such a
    size, else the cause that moves a reading most, as far as it is likely to matter; the rest is `none`. With
    amps alone a current reading that has risen has the shape of drag: neither is named without the other. No
    cause is ruled out by less than what stays with a fan (`undecided_weights`). What is open is open between
    causes: one that may come in several ways is no likelier for that.

    Parameters: `state` after the day; `weight` (fans, explanations); `reading` of the day; `constants`.
    Returns: (fans, causes), each row summing to 1.
    """
    named, likely = _named(state, reading, constants)
    by_name = _chosen(named, state, constants)
    by_size = _chosen(np.where(likely < 0.5, _NONE, named), state, constants)
    weight = undecided_weights(weight, by_size, state, reading, constants)
    # How far days repeat each other bears on which causes are told apart, not on how large one is.
    counted = (weight[..., None] * by_size).sum(axis=1)
    flatter = open_weights(counted, VERDICT_SHARE) / np.maximum(counted, _LEAST_COUNTED)
    told = weight * (by_size * flatter[:, None]).sum(axis=2)
    shares = ((told * likely)[..., None] * by_name).sum(axis=1)
    shares[:, _NONE] += (told * (1.0 - likely)).sum(axis=1)
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def _named(
    state: State | Marginals, reading: DayReading, constants: Watch
) -> tuple[npt.NDArray[np.intp], Floats]:
    """Name a cause under each explanation, with the probability that its size matters.

    Returns: places among the named causes, and probabilities, each (fans, explanations).
    """
    mean = state.mean[..., :CAUSE_COUNT]
    deviation = np.sqrt(np.maximum(state.variance, 0.0))[..., :CAUSE_COUNT]
    moves = np.abs(reading.effect[:, None, :, :CAUSE_COUNT]).max(axis=2)
    # What a station's own error does to its reading, whatever pressure and load make of it.
    own = MATERIAL_EFFECT / MATERIAL_STATION * reading.station[:, None]
    moves = np.broadcast_to(moves, mean.shape).copy()
    moves[..., _STATION] = np.maximum(moves[..., _STATION], np.where(IS_ACTIVE[:, _STATION], own, 0.0))
    # A wander that may as well be nothing is no cause. What an explanation holds to be at work need not be
    # shown again, and comes before any wander where it is of a size that matters.
    is_sized = IS_ACTIVE[None] | (np.abs(mean) > SURE_DEVIATIONS * deviation)
    effect = np.where(is_sized, moves * np.abs(mean), 0.0)
    at_work = np.where(IS_ACTIVE[None], effect, 0.0)
    is_of_size = at_work.max(axis=2, keepdims=True) >= MATERIAL_EFFECT
    strongest = np.where(is_of_size, at_work, effect).argmax(axis=2)[..., None]
    most, unsure = (
        np.take_along_axis(part, strongest, axis=2)[..., 0] for part in (effect, moves * deviation)
    )
    likely = np.where(most > 0.0, ndtr((most - MATERIAL_EFFECT) / np.maximum(unsure, _LEAST_SD)), 0.0)
    named = np.where(most > 0.0, _NAMED_INDEX[strongest[..., 0]], _NONE)
    torque = constants.plant.reference_torque[:, None]
    # A light day hides a slip that the carried state knows of.
    for place, least in ((_DRAG, MATERIAL_DRAG * torque), (_SLIP, MATERIAL_SLIP)):
        sized = ndtr((mean[..., place] - least) / np.maximum(deviation[..., place], _LEAST_SD))
        sized = np.where(IS_ACTIVE[:, place], sized, 0.0)
        is_same = named == _NAMED_INDEX[place]
        is_named = (sized >= 0.5) | (sized > likely)
        likely = np.where(is_named, np.where(is_same, np.maximum(sized, likely), sized), likely)
        named = np.where(is_named, _NAMED_INDEX[place], named)
    return named, likely


def _chosen(named: npt.NDArray[np.intp], state: State | Marginals, constants: Watch) -> Floats:
    # The share of each named cause in what an explanation is told as (fans, explanations, causes).
    chosen = (named[..., None] == np.arange(len(NAMED_CAUSES))).astype(np.float64)
    is_amps = (constants.plant.load_kind == LoadKind.CURRENT)[:, None]
    has_risen = (named == NAMED_CAUSES.index(Cause.CURRENT_SENSOR)) & (state.mean[..., _LOAD_GAIN] > 0.0)
    is_either = is_amps & (has_risen | (named == NAMED_CAUSES.index(Cause.DRAG)))
    both = np.isin(np.arange(len(NAMED_CAUSES)), [NAMED_CAUSES.index(c) for c in _ALIKE_IN_AMPS])
    return np.where(is_either[..., None], 0.5 * both, chosen)


def verdict(shares: Floats) -> tuple[Cause, float, tuple[Cause, ...]]:
    """Name the cause of one fan's day.

    Parameters: `shares` (named causes,). Returns: the cause, its share, and the causes that hold nine
    tenths of the belief in order; `unclear` where no fault holds enough, and none is not the likelier.
    """
    order = np.argsort(-shares, kind="stable")
    ranked = [NAMED_CAUSES[i] for i in order]
    needed = int(np.searchsorted(np.cumsum(shares[order]), 0.9)) + 1
    rest = tuple(ranked[: max(needed, 2)])
    first, share = ranked[0], float(shares[order[0]])
    if share >= (SOUND_SHARE if first is Cause.NONE else NAMED_SHARE):
        return first, share, rest
    return Cause.UNCLEAR, share, rest


def likeliest_fault(shares: Sequence[float]) -> Cause:
    """Name the cause that most speaks for besides none, however little that is."""
    faults = list(zip(NAMED_CAUSES, shares, strict=True))[1:]
    return max(faults, key=lambda pair: pair[1])[0]
