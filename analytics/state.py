"""What is the drive doing today: a state a fan, carried from day to day, its explanations competing."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from scipy.special import ndtr

from analytics.arrays import Bools, Floats
from analytics.curves import HealthyCurves
from analytics.day_misfit import jumps, open_deviations, opened_in, sayings, shown_in
from analytics.day_reading import DayReading, read_day
from analytics.explanations import (
    CAUSE_COUNT,
    EXPLANATION_COUNT,
    IS_ACTIVE,
    beliefs,
)
from analytics.machine import Machine
from analytics.model import (
    CAUSES,
    CURVE,
    INDEX,
    Operating,
    Parameter,
)
from analytics.priors import (
    CAUSE_TRAITS,
    JUMPS_AGAIN_A_DAY,
    PAIR_YEARS,
)
from analytics.slip_law import STEEPNESS_RANGE
from analytics.watch import CARRIED, WIDTH, Watch, first_covariance
from analytics.wheel_speed import NO_WHEEL, DayWheel

LEAST_WEIGHT = 1e-12
WHEEL_TORQUE_RANGE = (0.4, 1.1)
_LOG_SUDDEN = np.log([CAUSE_TRAITS[cause].sudden_share for cause in CAUSES])
_LOG_SEASON_DAYS = np.log(365.25 * PAIR_YEARS)
# How far the middle may move from where a day was looked at while the model may still be taken as straight:
# a hundredth of what is read; less of slip, whose knee bends within a few tenths of a point; more of what
# only multiplies a fault.
_STRAIGHT = np.array(
    [
        {Parameter.SLIP: 0.001, Parameter.SLIP_STEEPNESS: 0.15, Parameter.WHEEL_TORQUE: 0.15}.get(name, 0.01)
        for name in CARRIED
    ]
)
_SURELY_DEVIATIONS = 2.0
_LOWEST_DEVIATIONS = 6.0
_SLIP = CARRIED.index(Parameter.SLIP)
_DENSITY = CARRIED.index(Parameter.DENSITY)
_PRESSURE_ZERO = CARRIED.index(Parameter.PRESSURE_ZERO)
_AIRFLOW_ZERO = CARRIED.index(Parameter.AIRFLOW_ZERO)
_STEEPNESS = CARRIED.index(Parameter.SLIP_STEEPNESS)
_WHEEL_TORQUE = CARRIED.index(Parameter.WHEEL_TORQUE)
_COLUMNS = [INDEX[name] for name in CARRIED]
_LEARNED = WIDTH - sum(name in CURVE for name in CARRIED)
_CAUSES = np.arange(CAUSE_COUNT)
_LOWER = np.tril_indices(_LEARNED, -1)
_FANS_NEAR = 8

_Batch = TypeVar("_Batch", Operating, DayWheel)


@dataclass(frozen=True, slots=True)
class State:
    """What is known of a batch of fans after a day; axes fans, explanations, carried parameters.

    `mean` (fans, explanations, WIDTH); `covariance` (fans, explanations, WIDTH, WIDTH);
    `log_weight` (fans, explanations), normalised.
    """

    mean: Floats
    covariance: Floats
    log_weight: Floats

    @property
    def weight(self) -> Floats:
        """The posterior probability of each explanation (fans, explanations)."""
        return np.exp(self.log_weight)

    @property
    def variance(self) -> Floats:
        """The variance of each parameter (fans, explanations, WIDTH), a view of the covariances."""
        return np.diagonal(self.covariance, axis1=2, axis2=3)


@dataclass(frozen=True, slots=True)
class DayZeros:
    """What a stopped fan's sensors said that day, NaN where nothing; every field has shape (fans,).

    `pressure` of the pressure scale; `airflow` of the squared airflow scale; each with its deviation.
    """

    pressure: Floats
    pressure_sd: Floats
    airflow: Floats
    airflow_sd: Floats


def stack_states(states: list[State]) -> State:
    """Join single fans' states into a batch."""
    return State(*(np.concatenate([getattr(s, name) for s in states]) for name in State.__slots__))


def start(curves: HealthyCurves, machine: Machine) -> State:
    """Return a fan's state at the start of its healthy period: no cause at work, curves as fitted."""
    believed = beliefs(curves, machine)
    covariance = first_covariance(curves, believed)
    mean = curves.mean[_COLUMNS]
    return State(
        np.broadcast_to(mean, (1, EXPLANATION_COUNT, WIDTH)).copy(),
        np.broadcast_to(covariance, (1, EXPLANATION_COUNT, WIDTH, WIDTH)).copy(),
        normalised(believed.log_daily_onset),
    )


def opened(state: State, variance: Floats) -> State:
    """Return the state with causes opened: after service or a jump they may have any fault's size.

    Parameters: `variance` (fans, causes) or (fans, explanations, causes), what is added to each cause.
    """
    added = variance if variance.ndim == state.mean.ndim else variance[:, None]
    covariance = state.covariance.copy()
    diagonal = np.arange(CAUSE_COUNT)
    covariance[:, :, diagonal, diagonal] += added
    return State(state.mean, covariance, state.log_weight)


def update(
    state: State, constants: Watch, hours: Operating, zeros: DayZeros, wheel: DayWheel = NO_WHEEL
) -> tuple[State, DayReading]:
    """Learn from a day's steady hours.

    An iterated extended Kalman step in information form, linearised for all explanations at their
    weighted mean, and once more where that moves by more than the model is straight. Where a day does
    not fit an explanation by more than four deviations along its own cause, that cause is opened first:
    steps happen at once.

    Parameters: `state` predicted to the day; `constants`; `hours` (fans, hours); `zeros`;
    `wheel` the wheel's own speed.
    Returns: the state after the day and the day's last reading; a fan without used hours and zeros keeps
    its state.
    """
    return learned(replace(state, covariance=state.covariance.copy()), constants, hours, zeros, wheel)


def learned(
    state: State, constants: Watch, hours: Operating, zeros: DayZeros, wheel: DayWheel = NO_WHEEL
) -> tuple[State, DayReading]:
    """Learn from a day's steady hours as `update` does, but on the state's own covariances.

    What the day teaches is taken off them in place: they are the largest thing there is, and a copy of them
    takes as long as what is done to them. Parameters and returns: as for `update`.
    """
    state = _with_zeros(state, zeros)
    is_held = _read_at_rest(zeros)
    open_sd = open_deviations(state.covariance)
    reading = read_day(_middle(state), constants, hours, wheel)
    met = _met(state, constants, reading, open_sd, is_held)
    moved = _middle(State(met.mean, state.covariance, normalised(state.log_weight + met.fit)))
    is_bent: Bools = np.any(np.abs(moved - reading.at) > _STRAIGHT, axis=1)
    if is_bent.any():
        # A second look where the first was taken too far off, and only there: most days change little.
        part, own = select(state, is_bent), constants.some(is_bent)
        own_wheel = NO_WHEEL if wheel is NO_WHEEL else _some(wheel, is_bent)
        again = read_day(moved[is_bent], own, _some(hours, is_bent), own_wheel)
        _put(reading, again, is_bent)
        _put(met, _met(part, own, again, open_sd[is_bent], is_held[is_bent]), is_bent)
    return _kept(state, constants, met), reading


@dataclass(frozen=True, slots=True)
class _Met:
    """What a day comes to under each explanation: the `mean` after it, and how well it fits, in logs.

    `along` and `root` of `Shown`; `added` (fans, explanations, causes), the variance of what jumps opened.
    """

    mean: Floats
    fit: Floats
    along: Floats
    root: Floats
    added: Floats


def _met(state: State, constants: Watch, reading: DayReading, open_sd: Floats, is_held: Bools) -> _Met:
    said = sayings(open_sd, reading.information, reading.pull)
    missed = said.values[:, None] - (state.mean - reading.at[:, None]) @ said.slopes
    shown = shown_in(state.covariance, said.slopes)
    apart, weighed = _weighed(shown.root, missed)
    is_jump = jumps(constants, said.slopes, shown, weighed, is_held)
    added = np.where(is_jump, constants.beliefs.fault[:, None], 0.0)
    if is_jump.any():
        shown = opened_in(shown, said.slopes, added)
        apart, weighed = _weighed(shown.root, missed)
    # The likelihood of the day under each explanation, up to what all share.
    misfit = np.einsum("fer,fer->fe", apart, apart)
    fit = -0.5 * misfit - 0.5 * shown.log_det - _of_jumps(state, constants, is_jump)
    # The curves' errors are carried and kept in every covariance but not learned: a day's measured flows
    # differ by little more than their noise, and slopes learned from them go flat.
    mean = state.mean.copy()
    mean[..., :_LEARNED] += (shown.along[:, :, :_LEARNED] @ weighed[..., None])[..., 0]
    mean[..., _STEEPNESS] = np.clip(mean[..., _STEEPNESS], *STEEPNESS_RANGE)
    mean[..., _WHEEL_TORQUE] = np.clip(mean[..., _WHEEL_TORQUE], *WHEEL_TORQUE_RANGE)
    return _Met(mean, fit, shown.along, shown.root, added)


def _kept(state: State, constants: Watch, met: _Met) -> State:
    covariance = state.covariance
    _take_off(covariance, met)
    covariance[:, :, _CAUSES, _CAUSES] += met.added
    fit = met.fit + _below_zero(met.mean, covariance, constants)
    return State(met.mean, covariance, normalised(state.log_weight + fit))


def _some(batch: _Batch, which: Bools) -> _Batch:
    return type(batch)(*(getattr(batch, name)[which] for name in type(batch).__slots__))


def _put(batch: _Met | DayReading, part: _Met | DayReading, which: Bools) -> None:
    for name in type(batch).__slots__:
        getattr(batch, name)[which] = getattr(part, name)


def _weighed(root: Floats, missed: Floats) -> tuple[Floats, Floats]:
    # What is missed in readings of unit variance, and by the inverse of the readings' covariance.
    apart = root @ missed[..., None]
    return apart[..., 0], (np.swapaxes(root, 2, 3) @ apart)[..., 0]


def _take_off(covariance: Floats, met: _Met) -> None:
    """Take what a day has taught off the covariances, in place: all but the curves' own."""
    for some in _near(len(covariance)):
        root = np.ascontiguousarray(np.swapaxes(met.root[some], 2, 3))
        told = met.along[some] @ root
        carried = covariance[some]
        learned = carried[:, :, :_LEARNED]
        learned -= told[:, :, :_LEARNED] @ np.ascontiguousarray(np.swapaxes(told, 2, 3))
        # Rounding parts the halves, and what is learned day after day from unequal ones runs away.
        learned[:, :, *_LOWER[::-1]] = learned[:, :, *_LOWER]
        carried[:, :, _LEARNED:, :_LEARNED] = np.swapaxes(learned[..., _LEARNED:], 2, 3)


def _near(fans: int) -> Iterator[slice]:
    # Some fans at a time: what lies between two steps stays near the processor.
    for first in range(0, fans, _FANS_NEAR):
        yield slice(first, first + _FANS_NEAR)


def _of_jumps(state: State, constants: Watch, is_jump: Bools) -> Floats:
    """Return what the jumps of a day cost an explanation, in logs.

    A fault that jumps today began today, and all at once, or had begun and jumps again: that it might have
    begun on any day before and shown nothing yet makes its jump no likelier.
    """
    if not is_jump.any():
        return np.zeros_like(state.log_weight)
    today = state.log_weight[:, :1] + constants.beliefs.log_daily_onset + (is_jump * _LOG_SUDDEN).sum(axis=-1)
    # Two faults of one season that come on the same day are a chance of one in its days.
    together = np.maximum(is_jump.sum(axis=-1) - 1, 0)
    odds = np.logaddexp(today, state.log_weight + np.log(JUMPS_AGAIN_A_DAY)) - _LOG_SEASON_DAYS * together
    return np.asarray(np.where(is_jump.any(axis=-1), np.maximum(state.log_weight - odds, 0.0), 0.0))


def _below_zero(mean: Floats, covariance: Floats, constants: Watch) -> Floats:
    # A cause that can only be positive does not explain a day by being surely negative.
    deviation = np.sqrt(np.maximum(np.diagonal(covariance, axis1=2, axis2=3)[..., :CAUSE_COUNT], 1e-18))
    away = np.maximum(mean[..., :CAUSE_COUNT] / deviation, -_LOWEST_DEVIATIONS)
    is_sided = IS_ACTIVE[None] & (constants.beliefs.is_one_sided[:, None] > 0)
    is_below = is_sided & (away < -_SURELY_DEVIATIONS)
    cost = np.zeros_like(away)
    cost[is_below] = np.log(2.0 * ndtr(away[is_below]))
    return np.asarray(cost.sum(axis=-1))


def _middle(state: State) -> Floats:
    return np.asarray((state.weight[:, None] @ state.mean)[:, 0])


def _read_at_rest(zeros: DayZeros) -> Bools:
    is_held = np.zeros((len(zeros.pressure), CAUSE_COUNT), dtype=bool)
    is_held[:, CAUSES.index(Parameter.PRESSURE_ZERO)] = ~np.isnan(zeros.pressure)
    is_held[:, CAUSES.index(Parameter.AIRFLOW_ZERO)] = ~np.isnan(zeros.airflow)
    return is_held


def _with_zeros(state: State, zeros: DayZeros) -> State:
    """Return the state with what stopped sensors said; the covariances are changed in place."""
    mean, log_weight = state.mean, state.log_weight
    told: list[Floats] = []
    for place, zero, deviation in (
        (_PRESSURE_ZERO, zeros.pressure, zeros.pressure_sd),
        (_AIRFLOW_ZERO, zeros.airflow, zeros.airflow_sd),
    ):
        is_read = ~np.isnan(zero)
        if not is_read.any():
            continue
        column = state.covariance[..., place]
        for known in told:
            column = column - known * known[..., place, None]
        total = column[..., place] + np.where(is_read, np.square(deviation), 1.0)[:, None]
        miss = np.where(is_read[:, None], np.where(is_read, zero, 0.0)[:, None] - mean[..., place], 0.0)
        fit = -0.5 * (np.square(miss) / total + np.log(total))
        # A fan without a reading keeps its bits, alone and in a batch.
        root = np.where(is_read[:, None], 1.0 / np.sqrt(total), 0.0)
        told.append(column * root[..., None])
        mean = mean + told[-1] * (root * miss)[..., None]
        log_weight = np.where(is_read[:, None], normalised(log_weight + fit), log_weight)
    if told:
        every = np.stack(told, axis=-1)
        for some in _near(len(mean)):
            # A product with itself, of which both halves are equal to the last bit.
            state.covariance[some] -= every[some] @ np.swapaxes(every[some], 2, 3)
    return State(mean, state.covariance, log_weight)


def normalised(log_weight: Floats) -> Floats:
    """Return log weights (fans, explanations) that sum to one, none of them beyond coming back."""
    held = np.maximum(log_weight - log_weight.max(axis=1, keepdims=True), np.log(LEAST_WEIGHT) * 10)
    total = np.log(np.exp(held).sum(axis=1, keepdims=True))
    return np.asarray(held - total)


def select(state: State, which: Bools) -> State:
    """Return the states of some fans of a batch."""
    return State(*(np.ascontiguousarray(getattr(state, name)[which]) for name in State.__slots__))
