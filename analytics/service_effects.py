"""What does a service entry end, open or teach anew?"""

import numpy as np

from analytics.arrays import Floats
from analytics.explanations import CAUSE_COUNT, EXPLANATIONS
from analytics.model import CAUSES, Parameter
from analytics.state import LEAST_WEIGHT, State
from analytics.vocabulary import Cause, Role, Work
from analytics.watch import CARRIED, Watch

# After the visit a cause is near nothing, but the data may show that it did not come back.
_SENSOR_CAUSES: dict[Role, tuple[Parameter, ...]] = {
    Role.AIRFLOW: (Parameter.AIRFLOW_GAIN, Parameter.AIRFLOW_ZERO),
    Role.PRESSURE: (Parameter.PRESSURE_GAIN, Parameter.PRESSURE_ZERO),
    Role.CURRENT: (Parameter.LOAD_GAIN,),
    Role.POWER: (Parameter.LOAD_GAIN,),
    Role.TORQUE: (Parameter.LOAD_GAIN,),
    Role.SPEED: (Parameter.SPEED_SCALE,),
}
_ENDED: dict[Work, tuple[Parameter, ...]] = {
    Work.RETENSIONED: (Parameter.SLIP,),
    Work.BELT_REPLACED: (Parameter.SLIP,),
    Work.TENSIONER_FITTED: (Parameter.SLIP,),
    Work.ALIGNED: (Parameter.SLIP, Parameter.DRAG),
    Work.TIGHTENED: (Parameter.DRAG,),
    Work.GREASED: (Parameter.DRAG,),
    Work.BEARING_REPLACED: (Parameter.DRAG,),
    Work.WHEEL_CLEANED: (Parameter.WHEEL,),
    Work.WHEEL_REPLACED: (Parameter.WHEEL,),
    Work.FILTER_CHANGED: (Parameter.AIR_PATH,),
    Work.COIL_CLEANED: (Parameter.AIR_PATH,),
}
_OPENED_SD: dict[Work, dict[Parameter, float]] = {
    Work.BELT_REPLACED: {Parameter.RATIO: 0.02},
    Work.SHEAVE_CHANGED: {Parameter.RATIO: 0.15},
    # Another motor's amps at the same torque, a drive's own reading of them, and its slip at that torque.
    Work.MOTOR_REPLACED: {Parameter.LOAD_GAIN: 0.25, Parameter.SPEED_SCALE: 0.01},
    Work.DRIVE_REPLACED: {Parameter.LOAD_GAIN: 0.15, Parameter.SPEED_SCALE: 0.03},
    Work.SPEED_LIMIT_CHANGED: {Parameter.SPEED_SCALE: 0.05},
}
# How amps follow torque is the motor's and its drive's own: the curve's shape is open from then on, for the
# days after the work move its level alone.
_RESHAPED_SD: dict[Work, dict[Parameter, float]] = {
    Work.MOTOR_REPLACED: {Parameter.NO_LOAD_CURRENT: 0.06, Parameter.LOAD_EXPONENT: 0.05},
    Work.DRIVE_REPLACED: {Parameter.FLUX_EXPONENT: 0.35, Parameter.LOAD_EXPONENT: 0.03},
}
_PARAMETERS: dict[Cause, tuple[Parameter, ...]] = {
    Cause.BELT_SLIP: (Parameter.SLIP,),
    Cause.DRIVE_LOST: (Parameter.SLIP,),
    Cause.DRAG: (Parameter.DRAG,),
    Cause.RATIO_CHANGE: (Parameter.RATIO,),
    Cause.WHEEL: (Parameter.WHEEL,),
    Cause.AIR_PATH: (Parameter.AIR_PATH,),
    Cause.AIRFLOW_SENSOR: (Parameter.AIRFLOW_GAIN, Parameter.AIRFLOW_ZERO),
    Cause.PRESSURE_SENSOR: (Parameter.PRESSURE_GAIN, Parameter.PRESSURE_ZERO),
    Cause.CURRENT_SENSOR: (Parameter.LOAD_GAIN,),
    Cause.SPEED_NOT_FOLLOWED: (Parameter.SPEED_SCALE,),
}
# Work that mends a fault beyond what it ends of itself.
_MENDS: dict[Cause, tuple[Work, ...]] = {
    Cause.DRIVE_LOST: (
        Work.TIGHTENED,
        Work.SHEAVE_CHANGED,
        Work.BEARING_REPLACED,
        Work.WHEEL_REPLACED,
        Work.MOTOR_REPLACED,
    ),
    Cause.RATIO_CHANGE: (Work.SHEAVE_CHANGED, Work.BELT_REPLACED),
    Cause.WHEEL: (Work.TIGHTENED,),
    Cause.CURRENT_SENSOR: (Work.MOTOR_REPLACED, Work.DRIVE_REPLACED),
    Cause.SPEED_NOT_FOLLOWED: (
        Work.DRIVE_REPLACED,
        Work.MOTOR_REPLACED,
        Work.SPEED_LIMIT_CHANGED,
        Work.TIGHTENED,
    ),
}
_AFTER_SD = 0.5
_ENDED_CHANCE = 0.5


def ended_by(work: Work, role: Role | None) -> tuple[Parameter, ...]:
    """Return the causes that a piece of work should have ended."""
    if work is Work.SENSOR_CALIBRATED:
        every = tuple(dict.fromkeys(cause for causes in _SENSOR_CAUSES.values() for cause in causes))
        return every if role is None else _SENSOR_CAUSES.get(role, ())
    if work is Work.RETROFIT:
        return CAUSES
    return _ENDED.get(work, ())


def can_mend(work: Work, role: Role | None, cause: Cause) -> bool:
    """Tell whether a piece of work may have ended a fault of this cause; a stop, any visit may end."""
    if cause is Cause.UNCLEAR:
        return True
    named = work in _MENDS.get(cause, ())
    return named or any(ended in _PARAMETERS.get(cause, ()) for ended in ended_by(work, role))


def after_service(state: State, constants: Watch, work: Work, role: Role | None = None) -> State:
    """Return the state of a batch of fans after one piece of work was done on all of them.

    The causes the work should have ended start again near zero, half of the belief in each explanation
    goes to what remains without them, and what the work may have changed is opened.

    Parameters: `state` before; `constants`; `work`; `role` of a calibrated sensor.
    Returns: the state after.
    """
    ended = ended_by(work, role)
    after = _reset(state, constants, ended) if ended else state
    variance = np.zeros((len(state.mean), CAUSE_COUNT))
    for cause, deviation in _OPENED_SD.get(work, {}).items():
        variance[:, CAUSES.index(cause)] = deviation**2
    is_able = constants.beliefs.fault > 1e-8
    covariance = after.covariance.copy()
    diagonal = np.arange(CAUSE_COUNT)
    covariance[:, :, diagonal, diagonal] += np.where(is_able, variance, 0.0)[:, None]
    for shape, deviation in _RESHAPED_SD.get(work, {}).items():
        place = CARRIED.index(shape)
        covariance[:, :, place, place] += deviation**2
    return State(after.mean, covariance, after.log_weight)


def _reset(state: State, constants: Watch, ended: tuple[Parameter, ...]) -> State:
    mean, covariance = state.mean.copy(), state.covariance.copy()
    weight = state.weight.copy()
    order = {frozenset(chosen): i for i, chosen in reversed(list(enumerate(EXPLANATIONS)))}
    for i, chosen in enumerate(EXPLANATIONS):
        _restart(mean, covariance, constants, i, chosen, ended)
    for i, chosen in enumerate(EXPLANATIONS):
        rest = order.get(frozenset(chosen) - frozenset(ended))
        if rest is None or rest == i:
            continue
        moved = _ENDED_CHANCE * weight[:, i]
        # What remains is as this explanation saw it: its own past did not know of the fault.
        heavier = moved > weight[:, rest]
        mean[heavier, rest] = mean[heavier, i]
        covariance[heavier, rest] = covariance[heavier, i]
        weight[:, rest] += moved
        weight[:, i] -= moved
    for i, chosen in enumerate(EXPLANATIONS):
        _restart(mean, covariance, constants, i, chosen, ended)
    return State(mean, covariance, np.log(np.maximum(weight, LEAST_WEIGHT)))


def _restart(
    mean: Floats,
    covariance: Floats,
    constants: Watch,
    explanation: int,
    chosen: tuple[Parameter, ...],
    ended: tuple[Parameter, ...],
) -> None:
    for cause in ended:
        index = CAUSES.index(cause)
        fault = np.square(_AFTER_SD) * constants.beliefs.fault[:, index]
        variance = fault if cause in chosen else constants.beliefs.ordinary[:, index]
        mean[:, explanation, index] = 0.0
        covariance[:, explanation, index, :] = 0.0
        covariance[:, explanation, :, index] = 0.0
        covariance[:, explanation, index, index] = variance
