"""What work has changed for good: learned over some judged days, then the fan's new normal."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analytics.arrays import Floats
from analytics.explanations import EXPLANATIONS
from analytics.model import CAUSES, Parameter
from analytics.state import LEAST_WEIGHT, State
from analytics.vocabulary import Role, Work
from analytics.watch import Watch

_MOTOR_DAYS: Final = 10
_SHEAVE_DAYS: Final = 14
# What a piece of work may change for good, and over how many judged days it is learned.
LEARNED_ANEW: Final[Mapping[Work, Mapping[Parameter, int]]] = {
    Work.SHEAVE_CHANGED: {Parameter.RATIO: _SHEAVE_DAYS},
    Work.MOTOR_REPLACED: {Parameter.LOAD_GAIN: _MOTOR_DAYS, Parameter.SPEED_SCALE: _MOTOR_DAYS},
    Work.DRIVE_REPLACED: {Parameter.LOAD_GAIN: _MOTOR_DAYS, Parameter.SPEED_SCALE: _MOTOR_DAYS},
}


@dataclass(frozen=True, slots=True)
class Change:
    """One parameter's new normal.

    `offset` from the healthy period's and `deviation` of it, in the model's unit; `days_left` judged days
    until what has been learned of it is normal, 0 once it is.
    """

    offset: float = 0.0
    deviation: float = 0.0
    days_left: int = 0


_UNCHANGED: Final = Change()
# A fan's new normal: of the parameters that work has changed, and of no others.
Normal = Mapping[Parameter, Change]


def begun(
    normal: Normal, service: Iterable[tuple[Work, Role | None]], declared_log_ratio: float = 0.0
) -> Normal:
    """Return the new normal after work: what it may have changed is learned from its first day again.

    Parameters: `normal` before; `service` done; `declared_log_ratio` by which the declared sheaves' ratio
    changed, so that only the rest is to be learned.
    """
    after = dict(normal)
    if declared_log_ratio:
        known = after.get(Parameter.RATIO, Change())
        after[Parameter.RATIO] = replace(known, offset=known.offset + declared_log_ratio)
    for work, _ in service:
        for cause, days in LEARNED_ANEW.get(work, {}).items():
            after[cause] = replace(after.get(cause, Change()), days_left=days)
    return after


def with_normals(constants: Watch, normals: Sequence[Normal]) -> Watch:
    """Return a batch's constants with each fan's new normal in place of the healthy period's.

    A change still being learned is kept under every explanation; one that is normal wanders as far as it
    is not known.
    """
    if not any(normals):
        return constants
    offset = constants.normal.copy()
    is_learned = constants.is_learned.copy()
    ordinary = constants.beliefs.ordinary.copy()
    for fan, normal in enumerate(normals):
        for cause, change in normal.items():
            place = CAUSES.index(cause)
            offset[fan, place] = change.offset
            is_learned[fan, place] = change.days_left > 0
            ordinary[fan, place] += np.square(change.deviation)
    beliefs = replace(constants.beliefs, ordinary=ordinary)
    return replace(constants, beliefs=beliefs, normal=offset, is_learned=is_learned)


def after_judged_day(state: State, normal: Normal) -> tuple[State, Normal]:
    """Count one fan's judged day; what has been learned for long enough becomes its new normal.

    Its centre and spread over all explanations are taken up by the normal, each explanation keeps what it
    holds beside them, and what is left of its own belief goes to what remains without the change.

    Parameters: `state` after the day, a batch of one; `normal` before it. Returns: both after it.
    """
    after = {
        cause: replace(change, days_left=max(change.days_left - 1, 0)) for cause, change in normal.items()
    }
    done = tuple(cause for cause, change in normal.items() if change.days_left == 1)
    if not done:
        return state, after
    mean, covariance, weight = state.mean.copy(), state.covariance.copy(), state.weight[0].copy()
    for cause in done:
        place = CAUSES.index(cause)
        centre = float(weight @ mean[0, :, place])
        spread = covariance[0, :, place, place] + np.square(mean[0, :, place] - centre)
        known = after[cause]
        after[cause] = Change(known.offset + centre, float(np.sqrt(weight @ spread)))
        mean[0, :, place] -= centre
    order = {frozenset(chosen): i for i, chosen in enumerate(EXPLANATIONS)}
    for i, chosen in enumerate(EXPLANATIONS):
        rest = order[frozenset(chosen) - frozenset(done)]
        if rest == i:
            continue
        if weight[i] > weight[rest]:
            mean[0, rest], covariance[0, rest] = mean[0, i], covariance[0, i]
        weight[rest] += weight[i]
        weight[i] = 0.0
    held = np.maximum(weight / weight.sum(), LEAST_WEIGHT)
    return State(mean, covariance, np.log(held)[None]), after


def as_healthy_motor(load: Floats, speed: Floats, normals: Sequence[Normal]) -> tuple[Floats, Floats]:
    """Return load and speed as the motor and drive of the healthy period would have shown them.

    Parameters: `load` of rated, `speed` output frequency over base, both (hours,); `normals` of each hour.
    Returns: both (hours,); an hour whose change is still being learned has what was known of it before.
    Equation: load / exp(load gain), speed exp(speed scale).
    Source: `analytics.model`.
    """
    gain, scale = (
        np.array([normal.get(name, _UNCHANGED).offset for normal in normals])
        for name in (Parameter.LOAD_GAIN, Parameter.SPEED_SCALE)
    )
    return load * np.exp(-gain), speed * np.exp(scale)


def normal_as_json(normal: Normal) -> dict[str, list[float]] | None:
    """Return a new normal as it is written down, None where all is as in the healthy period."""
    told = {cause.value: [one.offset, one.deviation, float(one.days_left)] for cause, one in normal.items()}
    return told or None


def normal_from_json(written: Mapping[str, Sequence[float]] | None) -> Normal:
    """Read a new normal again, to the last bit."""
    return {
        Parameter(cause): Change(offset, deviation, int(days_left))
        for cause, (offset, deviation, days_left) in (written or {}).items()
    }
