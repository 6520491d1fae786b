"""The three steps of the work: healthy curves, a day's judgement, the episodes of alerts.

`healthy(hours, machine)` learns; `day(...)` judges one day of a batch of fans and carries their states;
`analytics.episodes` turns rows into alerts. Each is a pure function of what it is given, and a fan gets
the same bits alone and in a batch.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from analytics.arrays import Floats
from analytics.between_days import predict
from analytics.curves import HealthyCurves, fit_curves
from analytics.day_hours import day_wheel, day_zeros, lane_hours, packed_day
from analytics.day_reading import DayReading
from analytics.hidden import Hidden, hidden, stack_hidden
from analytics.innovations import without_fault
from analytics.ledger import DriveFacts, LedgerRows, drive_facts
from analytics.machine import Machine
from analytics.marginals import marginals
from analytics.measured_slip import Compared, PairTaken, take_pair
from analytics.model import CAUSES, Operating, Parameter
from analytics.new_normal import Normal, with_normals
from analytics.scaled_hours import ScaledHours, channels_of, outdoor_air, scaled_hours
from analytics.service_effects import after_service
from analytics.state import DayZeros, State, learned, select, stack_states, start
from analytics.tachometer import SHEAVE_RATIO_SD_PCT, Pair
from analytics.telling import Untold, told
from analytics.vocabulary import Role, Work
from analytics.watch import Watch, stack_watches, watch
from analytics.wheel_speed import NO_WHEEL, DayWheel, stack_wheels

# Outdoor density must explain this much of the scatter before it is believed.
OUTDOOR_AIR_SCATTER = 0.85


@dataclass(frozen=True, slots=True)
class Fleet:
    """The constants of a batch of fans: what every daily step needs."""

    watch: Watch
    facts: DriveFacts
    hidden: Hidden

    def some(self, which: list[int]) -> "Fleet":
        """Return some fans of the batch, in the order named."""
        facts = self.facts
        chosen = DriveFacts(
            tuple(facts.drives[i] for i in which),
            facts.can_slip[which],
            facts.rated_power_w[which],
            facts.rated_slip[which],
            facts.loss_sd[which],
            facts.full_load_efficiency[which],
            facts.has_line_power[which],
            facts.has_vfd[which],
        )
        unseen = Hidden(*(getattr(self.hidden, name)[which] for name in Hidden.__slots__))
        return Fleet(self.watch.some(which), chosen, unseen)


@dataclass(frozen=True, slots=True)
class FanDay:
    """One fan's day: its packed hours, its zeros, the service done, the days since the last one judged.

    `may_fall` once a belt was serviced: slip may then lie below the healthy period's. `known_pairs` the
    tachometer pairs that taught the level so far, `pairs` those to be held against this day. `normal` what
    work has changed for good.
    """

    operating: Operating
    zeros: DayZeros
    service: tuple[tuple[Work, Role | None], ...]
    elapsed_days: float
    may_fall: bool = False
    known_pairs: tuple[Pair, ...] = ()
    pairs: tuple[PairTaken, ...] = ()
    ratio_sd_pct: float = SHEAVE_RATIO_SD_PCT
    wheel: DayWheel = NO_WHEEL
    normal: Normal = field(default_factory=dict)

    @property
    def hours_used(self) -> int:
        """How many hours count."""
        return int(self.operating.is_used.sum())


def healthy(hours: pd.DataFrame, day: Floats, machine: Machine) -> HealthyCurves:
    """Learn a fan's healthy curves from the operating points of its healthy period.

    Parameters: `hours`, frame of `operating_points`; `day` (hours,), a number a plant day; `machine`.
    Returns: `HealthyCurves`. Raises: TooLittleHealthyDataError.
    """
    channels = channels_of(hours, machine)
    indoors = fit_curves(scaled_hours(hours, machine, channels), day, machine, channels)
    outdoors = outdoor_air(channels, hours, machine)
    if outdoors is None:
        return indoors
    # Whether a fan without a temperature point moves outdoor air, its own healthy period tells.
    fitted = fit_curves(scaled_hours(hours, machine, outdoors), day, machine, outdoors)
    is_better = fitted.pressure_cv_rmse < OUTDOOR_AIR_SCATTER * indoors.pressure_cv_rmse
    return fitted if is_better and fitted.load_cv_rmse <= indoors.load_cv_rmse else indoors


def fleet(curves: Sequence[HealthyCurves], machines: Sequence[Machine]) -> Fleet:
    """Join fans into a batch."""
    watches = [watch(c, m) for c, m in zip(curves, machines, strict=True)]
    slips = np.array([c.rated_slip for c in curves])
    has_line_power = np.array([c.channels.has_line_power for c in curves])
    unseen = stack_hidden([hidden(c, m) for c, m in zip(curves, machines, strict=True)])
    facts = drive_facts(machines, slips, has_line_power)
    return Fleet(stack_watches(watches), facts, unseen)


def first_state(curves: HealthyCurves, machine: Machine) -> State:
    """Return a fan's state at the start of its healthy period, a batch of one."""
    return start(curves, machine)


def fan_day(
    hours: ScaledHours,
    curves: HealthyCurves,
    service: tuple[tuple[Work, Role | None], ...],
    elapsed_days: float,
    *,
    may_fall: bool = False,
) -> FanDay:
    """Pack one fan's day for `judged_day`."""
    lane = lane_hours(hours, curves)
    operating = packed_day(lane)
    return FanDay(
        operating,
        day_zeros(lane, curves),
        service,
        elapsed_days,
        may_fall,
        wheel=day_wheel(lane, curves, operating),
    )


@dataclass(frozen=True, slots=True)
class DayJudged:
    """What one day of a batch of fans comes to.

    `state` after it; `rows` of the ledger; `innovation` (fans, causes of DRIFTING) for the drift test;
    `alone` (fans, causes of DRIFTING) at the reference torque [%], were that cause alone at work;
    `compared` of each fan, one a tachometer pair of the day.
    """

    state: State
    rows: LedgerRows
    innovation: Floats
    alone: Floats
    compared: tuple[tuple[Compared, ...], ...]


def day(batch: Fleet, state: State, days: Sequence[FanDay]) -> tuple[State, LedgerRows]:
    """Judge one day of a batch of fans and carry their states: `judged_day` without its particulars."""
    judged = judged_day(batch, state, days)
    return judged.state, judged.rows


def judged_day(batch: Fleet, state: State, days: Sequence[FanDay]) -> DayJudged:
    """Judge one day of a batch of fans and carry their states.

    Parameters: `batch`; `state` after each fan's day before; `days`, one a fan in the batch's order.
    Returns: the states after the day, and the day's rows; a row of a day with too few used hours is
    only good for its carried reference values.
    """
    carried = carried_day(batch, state, days)
    said = told([carried.untold])
    return DayJudged(carried.state, said.rows, said.innovation, said.alone, carried.compared)


@dataclass(frozen=True, slots=True)
class DayCarried:
    """What one day of a batch of fans leaves: what goes on to the next day, and what is still to be told.

    `state` after it; `compared` of each fan, one a tachometer pair of the day; `untold` for `told`.
    """

    state: State
    compared: tuple[tuple[Compared, ...], ...]
    untold: Untold


def carried_day(batch: Fleet, state: State, days: Sequence[FanDay]) -> DayCarried:
    """Carry the states of a batch of fans over one day; its rows can be told later, with those of others.

    Parameters: as for `judged_day`. Returns: `DayCarried`.
    """
    constants = with_normals(_freed(batch.watch, days), [fan.normal for fan in days])
    batch = replace(batch, watch=constants)
    elapsed = np.array([fan.elapsed_days for fan in days])
    state = predict(state, batch.watch, elapsed)
    state = _serviced(state, batch, days)
    hours = Operating(
        *(np.concatenate([getattr(fan.operating, name) for fan in days]) for name in Operating.__slots__)
    )
    zeros = DayZeros(
        *(np.concatenate([getattr(fan.zeros, name) for fan in days]) for name in DayZeros.__slots__)
    )
    before = without_fault(state)
    state, reading = learned(state, batch.watch, hours, zeros, stack_wheels([fan.wheel for fan in days]))
    state, compared = _measured(state, batch, hours, reading, days)
    pairs = tuple(
        ((*fan.known_pairs, *(one.pair for one in done if one.is_taught)), fan.ratio_sd_pct)
        for fan, done in zip(days, compared, strict=True)
    )
    known = marginals(state)
    untold = Untold(batch.watch, batch.facts, batch.hidden, known, before, hours, reading, pairs)
    return DayCarried(state, compared, untold)


def _measured(
    state: State, batch: Fleet, hours: Operating, reading: DayReading, days: Sequence[FanDay]
) -> tuple[State, tuple[tuple[Compared, ...], ...]]:
    if not any(fan.pairs for fan in days):
        return state, tuple(() for _ in days)
    parts, compared = [], []
    for i, fan in enumerate(days):
        part, constants = select(state, np.arange(len(days)) == i), batch.watch.some([i])
        own_hours = Operating(*(getattr(hours, name)[i : i + 1] for name in Operating.__slots__))
        own = DayReading(*(getattr(reading, name)[i : i + 1] for name in DayReading.__slots__))
        done: list[Compared] = []
        for taken in fan.pairs:
            known = [*fan.known_pairs, *(one.pair for one in done if one.is_taught)]
            part, one = take_pair(part, constants, own_hours, own, taken, known, fan.ratio_sd_pct)
            done.append(one)
        parts.append(part)
        compared.append(tuple(done))
    return stack_states(parts), tuple(compared)


def _freed(constants: Watch, days: Sequence[FanDay]) -> Watch:
    # A healthy period may have been slipping already: a belt once serviced may run tighter than it.
    may_fall = np.array([fan.may_fall for fan in days], dtype=bool)
    if not may_fall.any():
        return constants
    is_one_sided = constants.beliefs.is_one_sided.copy()
    is_one_sided[may_fall, CAUSES.index(Parameter.SLIP)] = 0.0
    return replace(constants, beliefs=replace(constants.beliefs, is_one_sided=is_one_sided))


def _serviced(state: State, batch: Fleet, days: Sequence[FanDay]) -> State:
    if not any(fan.service for fan in days):
        return state
    parts = []
    for i, fan in enumerate(days):
        alone = np.arange(len(days)) == i
        part, constants = select(state, alone), batch.watch.some([i])
        for work, role in fan.service:
            part = after_service(part, constants, work, role)
        parts.append(part)
    return stack_states(parts)
