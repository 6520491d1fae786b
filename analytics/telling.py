"""What do judged days come to, told for many days and fans at once?

How a fan's state goes on needs none of it: a row costs a small part where the rows of many days are found
together, and a fan's day has the same bits in any company.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from analytics.arrays import Floats
from analytics.day_reading import DayReading
from analytics.hidden import Hidden, stack_hidden, with_hidden
from analytics.innovations import alone, innovations
from analytics.ledger import DriveFacts, LedgerRows, ledger_rows, stack_facts
from analytics.marginals import Marginals
from analytics.model import Operating
from analytics.tachometer import Pair, level_from
from analytics.watch import Watch, stack_watches

_Batch = TypeVar("_Batch", Marginals, Operating, DayReading)


@dataclass(frozen=True, slots=True)
class Untold:
    """One judged day of a batch of fans, its rows still to be found.

    `watch`, `facts`, `hidden` the fans' constants on that day; `known` of their states after it; `before`,
    mean and covariance of `without_fault` before it; `hours` and `reading` of the day; `pairs` each fan's
    level rests on, with the nominal ratio's deviation [%].
    """

    watch: Watch
    facts: DriveFacts
    hidden: Hidden
    known: Marginals
    before: tuple[Floats, Floats]
    hours: Operating
    reading: DayReading
    pairs: tuple[tuple[tuple[Pair, ...], float], ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What judged days come to, the fans of each day and the days one after the other.

    `rows` of the ledger; `innovation` (fan-days, causes of DRIFTING) for the drift test; `alone` (fan-days,
    causes of DRIFTING) at the reference torque [%], were that cause alone at work.
    """

    rows: LedgerRows
    innovation: Floats
    alone: Floats


def told(days: Sequence[Untold]) -> Told:
    """Tell judged days.

    Parameters: `days`, each of any fans, at least one. Returns: `Told`.
    """
    constants = stack_watches([day.watch for day in days])
    known = _joined([day.known for day in days])
    hours, reading = _joined([day.hours for day in days]), _joined([day.reading for day in days])
    healthy_slip = _healthy_slip([pairs for day in days for pairs in day.pairs])
    facts = stack_facts([day.facts for day in days])
    rows = ledger_rows(known, constants, hours, reading, facts, healthy_slip)
    rows = with_hidden(rows, stack_hidden([day.hidden for day in days]), reading, hours)
    mean, covariance = (np.concatenate(parts) for parts in zip(*(day.before for day in days), strict=True))
    slip, drag = alone(known).T
    of_reference = np.stack(
        [100.0 * slip + healthy_slip[:, 0], 100.0 * drag / constants.plant.reference_torque], axis=-1
    )
    return Told(rows, innovations(mean, covariance, reading), of_reference)


def _joined(several: Sequence[_Batch]) -> _Batch:
    kind = type(several[0])
    return kind(*(np.concatenate([getattr(one, name) for one in several]) for name in kind.__slots__))


def _healthy_slip(pairs: Sequence[tuple[tuple[Pair, ...], float]]) -> Floats:
    # Most fans have no pair, and who has some has the same ones for months.
    levels = {one: level_from(*one) for one in set(pairs)}
    told_of = {one: (level.slip_pct, level.slip_sd_pct) for one, level in levels.items()}
    return np.array([told_of[one] for one in pairs])
