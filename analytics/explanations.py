"""What can explain a fan's numbers: every cause alone, and the drive's own beside one other."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analytics.arrays import Floats
from analytics.curve_fit import LOAD, PRESSURE
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.model import CAUSES, Parameter
from analytics.priors import CAUSE_TRAITS, DAY_SD_THAT_LASTS, LETTING_GO_SHARE, PAIR_YEARS, PINNED_SD
from analytics.vocabulary import Drive, PressureLocation

# Two faults at once are rare; these are the pairs that hide a drive's fault or pass for one.
_PAIRS: tuple[tuple[Parameter, Parameter], ...] = (
    (Parameter.SLIP, Parameter.DRAG),
    (Parameter.SLIP, Parameter.AIRFLOW_GAIN),
    (Parameter.SLIP, Parameter.PRESSURE_GAIN),
    (Parameter.SLIP, Parameter.LOAD_GAIN),
    (Parameter.SLIP, Parameter.AIR_PATH),
    (Parameter.DRAG, Parameter.AIRFLOW_GAIN),
    (Parameter.DRAG, Parameter.PRESSURE_GAIN),
    (Parameter.DRAG, Parameter.AIR_PATH),
)
# Last the belt that lets go within days: its slip is followed as fast as the readings allow.
EXPLANATIONS: tuple[tuple[Parameter, ...], ...] = (
    (),
    *((cause,) for cause in CAUSES),
    *_PAIRS,
    (Parameter.SLIP,),
)
SLIP_ALONE, SLIP_LETTING_GO = EXPLANATIONS.index((Parameter.SLIP,)), len(EXPLANATIONS) - 1
IS_ACTIVE = np.array([[cause in chosen for cause in CAUSES] for chosen in EXPLANATIONS])
CAUSE_COUNT = len(CAUSES)
EXPLANATION_COUNT = len(EXPLANATIONS)
_IMPOSSIBLE = -1e9


@dataclass(frozen=True, slots=True)
class Beliefs:
    """What is believed of a batch of fans' causes before their data; first axis the fans.

    `ordinary`, `daily`, `fault` (fans, causes) variances of wander, of a day's walk and of a fault;
    `is_one_sided` (fans, causes); `log_daily_onset` (fans, explanations), the log chance a day that an
    explanation begins.
    """

    ordinary: Floats
    daily: Floats
    fault: Floats
    is_one_sided: Floats
    log_daily_onset: Floats


def movable(machine: Machine, curves: HealthyCurves) -> frozenset[Parameter]:
    """Return the causes that can act on a fan at all and leave a trace in its readings."""
    channels = curves.channels
    # One reading alone cannot tell what turns the wheel slower from what the system does.
    is_told = channels.tells_causes
    answers = {
        Parameter.SLIP: machine.drive.can_slip and is_told,
        Parameter.RATIO: machine.drive is not Drive.DIRECT and is_told,
        Parameter.WHEEL: is_told,
        Parameter.AIRFLOW_GAIN: channels.has_airflow,
        Parameter.AIRFLOW_ZERO: channels.has_airflow,
        Parameter.AIR_PATH: channels.has_pressure
        and machine.pressure_location is not PressureLocation.ACROSS_FAN,
        Parameter.PRESSURE_GAIN: channels.has_pressure,
        Parameter.PRESSURE_ZERO: channels.has_pressure,
        Parameter.DRAG: channels.has_load,
        Parameter.LOAD_GAIN: channels.has_load,
        Parameter.SPEED_SCALE: not channels.has_motor_speed and is_told,
    }
    return frozenset(cause for cause in CAUSES if answers.get(cause, True))


def beliefs(curves: HealthyCurves, machine: Machine) -> Beliefs:
    """Return one fan's beliefs, as a batch of one."""
    moves = movable(machine, curves)

    def deviations(trait: str) -> list[float]:
        # The table gives drag as a share of the reference torque, the model as a share of the rated one.
        scales = {Parameter.DRAG: curves.reference_torque}
        own = {cause: float(getattr(CAUSE_TRAITS[cause], trait)) * scales.get(cause, 1.0) for cause in moves}
        return [own.get(cause, PINNED_SD) for cause in CAUSES]

    ordinary = deviations("ordinary_sd")
    for cause, channel in ((Parameter.PRESSURE_GAIN, PRESSURE), (Parameter.LOAD_GAIN, LOAD)):
        if cause in moves:
            # What sets one day apart from the next in the healthy period lasts for weeks outside it.
            lasting = DAY_SD_THAT_LASTS * np.sqrt(curves.day_covariance[channel, channel])
            ordinary[CAUSES.index(cause)] = float(np.hypot(ordinary[CAUSES.index(cause)], lasting))
    onset = [_log_onset(chosen) if moves.issuperset(chosen) else _IMPOSSIBLE for chosen in EXPLANATIONS]
    onset[SLIP_LETTING_GO] += float(np.log(LETTING_GO_SHARE))
    return Beliefs(
        ordinary=np.square([ordinary]),
        daily=np.square([deviations("daily_sd")]),
        fault=np.square([deviations("fault_sd")]),
        is_one_sided=np.array([[float(CAUSE_TRAITS[cause].is_one_sided) for cause in CAUSES]]),
        log_daily_onset=np.array([onset]),
    )


@cache
def _log_onset(chosen: tuple[Parameter, ...]) -> float:
    if not chosen:
        return 0.0
    # The second of a pair came in the same season.
    daily = [CAUSE_TRAITS[cause].rate_per_year / 365.25 for cause in chosen]
    season = [CAUSE_TRAITS[cause].rate_per_year * PAIR_YEARS for cause in chosen]
    return float(np.log(daily[0] * np.prod(season[1:])))


def stack_beliefs(several: list[Beliefs]) -> Beliefs:
    """Join single fans' beliefs into a batch."""
    return Beliefs(*(np.concatenate([getattr(b, name) for b in several]) for name in Beliefs.__slots__))
