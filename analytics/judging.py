"""The three steps of the work: healthy curves, a day's judgement, the episodes of alerts.

`healthy(hours, machine)` learns; `day(...)` judges one day of a batch of fans and carries their states;
`analytics.episodes` turns rows into alerts. Each is a pure function of what it is given, and a fan gets
the same bits alone and in a batch.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.arrays import Floats
from analytics.curves import HealthyCurves, fit_curves
from analytics.day_hours import day_operating, day_zeros
from analytics.ledger import DriveFacts, LedgerRows, drive_facts, ledger_rows
from analytics.machine import Machine
from analytics.model import CAUSES, Operating, Parameter
from analytics.scaled_hours import ScaledHours, channels_of, outdoor_air, scaled_hours
from analytics.service_effects import after_service
from analytics.state import DayZeros, State, predict, select, stack_states, start, update
from analytics.vocabulary import Role, Work
from analytics.watch import Watch, stack_watches, watch

# Outdoor density must explain this much of the scatter before it is believed.
OUTDOOR_AIR_SCATTER = 0.85


@dataclass(frozen=True, slots=True)
class Fleet:
    """The constants of a batch of fans: what every daily step needs."""

    watch: Watch
    facts: DriveFacts

    def some(self, which: list[int]) -> "Fleet":
        """Return some fans of the batch, in the order named."""
        facts = self.facts
        chosen = DriveFacts(
            tuple(facts.drives[i] for i in which),
            facts.can_slip[which],
            facts.rated_power_w[which],
            facts.rated_slip[which],
            facts.loss_sd[which],
        )
        return Fleet(some_of(self.watch, which), chosen)


@dataclass(frozen=True, slots=True)
class FanDay:
    """One fan's day: its packed hours, its zeros, the service done, the days since the last one judged.

    `may_fall` once a belt was serviced: slip may then lie below the healthy period's.
    """

    operating: Operating
    zeros: DayZeros
    service: tuple[tuple[Work, Role | None], ...]
    elapsed_days: float
    may_fall: bool = False

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
    rated = np.array([m.motor_rated_power_w * m.motor_count for m in machines])
    slips = np.array([c.rated_slip for c in curves])
    return Fleet(stack_watches(watches), drive_facts(tuple(m.drive for m in machines), rated, slips))


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
    """Pack one fan's day for `day`."""
    return FanDay(day_operating(hours, curves), day_zeros(hours, curves), service, elapsed_days, may_fall)


def day(batch: Fleet, state: State, days: Sequence[FanDay]) -> tuple[State, LedgerRows]:
    """Judge one day of a batch of fans and carry their states.

    Parameters: `batch`; `state` after each fan's day before; `days`, one a fan in the batch's order.
    Returns: the states after the day, and the day's rows; a row of a day with too few used hours is
    only good for its carried reference values.
    """
    batch = Fleet(_freed(batch.watch, days), batch.facts)
    elapsed = np.array([fan.elapsed_days for fan in days])
    state = predict(state, batch.watch, elapsed)
    state = _serviced(state, batch, days)
    hours = Operating(
        *(np.concatenate([getattr(fan.operating, name) for fan in days]) for name in Operating.__slots__)
    )
    zeros = DayZeros(
        np.concatenate([fan.zeros.pressure for fan in days]),
        np.concatenate([fan.zeros.pressure_sd for fan in days]),
    )
    state, reading = update(state, batch.watch, hours, zeros)
    return state, ledger_rows(state, batch.watch, hours, reading, batch.facts)


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
        part, constants = select(state, alone), some_of(batch.watch, [i])
        for work, role in fan.service:
            part = after_service(part, constants, work, role)
        parts.append(part)
    return stack_states(parts)


def some_of(batch: Watch, which: list[int]) -> Watch:
    """Return the constants of some fans of a batch."""
    plant = type(batch.plant)(*(getattr(batch.plant, name)[which] for name in type(batch.plant).__slots__))
    believed = type(batch.beliefs)(
        *(getattr(batch.beliefs, name)[which] for name in type(batch.beliefs).__slots__)
    )
    rest = [name for name in Watch.__slots__ if name not in ("plant", "beliefs")]
    return Watch(plant, believed, *(getattr(batch, name)[which] for name in rest))
