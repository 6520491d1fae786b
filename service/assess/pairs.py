"""Which tachometer pairs does a day of the ledger hear of, and how is each taken?"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from analytics.measured_slip import Compared, PairTaken
from analytics.model import Parameter
from analytics.service_effects import ended_by
from analytics.tachometer import (
    SHEAVE_RATIO_SD_PCT,
    UNKNOWN_RATIO_SD_PCT,
    Pair,
    nominal_ratio,
    slip_of_pair,
)
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.logbook import miss_of_pair
from service.store.ledger_tables import tachometer_pairs
from service.words import compared_pair_words, fixed_drive_pair_words, refused_pair_words

# A belt's tension falls fast in its first days; a pair within this of the work still reads a fresh belt.
_FRESH: Final = dt.timedelta(days=14)
# A pair this long before the healthy period began is not of it.
_BEFORE_HEALTHY: Final = dt.timedelta(days=30)
_COMPARISON: Final = (
    "slip_pct",
    "inferred_pct",
    "inferred_low_pct",
    "inferred_high_pct",
    "change_pct",
    "change_sd_pct",
    "load_ratio",
)


@dataclass(frozen=True, slots=True)
class PairDue:
    """A pair of the service log as the ledger meets it.

    `number` of its date; `nominal` the sheaves' ratio, None where they are not declared; `miss` off it,
    None without it or within what a drive can do; `is_fresh` on a belt just tensioned; `can_slip`;
    `is_of_new_sheaves` where the declared ratio is no longer the healthy period's.
    """

    date: dt.date
    number: int
    time: dt.time | None
    motor_rpm: float
    wheel_rpm: float
    nominal: float | None
    miss: float | None
    is_fresh: bool
    can_slip: bool
    is_of_new_sheaves: bool


@dataclass(slots=True)
class Pairs:
    """A lane's pairs: those waiting for a judged day, those the level rests on, and the rows to write.

    `known` with the nominal ratio each was held against; `is_declared` whether the latest of it was.
    """

    waiting: list[PairDue] = field(default_factory=list)
    known: list[tuple[float, Pair]] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    is_declared: bool = True

    def nominal(self, due: PairDue) -> float:
        """Return the ratio a pair is held against: undeclared, the first pair's own."""
        if due.nominal is not None:
            return due.nominal
        return self.known[0][0] if self.known else due.wheel_rpm / due.motor_rpm

    def of_ratio(self, nominal: float | None) -> tuple[Pair, ...]:
        """Return the pairs of one nominal ratio, of the latest where none is named."""
        wanted = self.known[-1][0] if nominal is None and self.known else nominal
        return tuple(pair for ratio, pair in self.known if ratio == wanted)


def pairs_due(
    site: SiteFolder, fan: str, healthy: float | None, done: Sequence[ServiceEntry], since: int
) -> tuple[PairDue, ...]:
    """Return the pairs among a fan's entries from a place on.

    Parameters: `healthy`, the sheaves' ratio in the healthy period; `done`, the entries so far in order.
    """
    found = []
    for place, entry in list(enumerate(done))[since:]:
        if entry.motor_rpm is None or entry.fan_rpm is None:
            continue
        epoch = site.epoch_at(fan, entry.date)
        if epoch is None:
            continue
        ratio = nominal_ratio(epoch.machine)
        number = sum(one.date == entry.date and one.motor_rpm is not None for one in done[:place])
        found.append(
            PairDue(
                entry.date,
                number,
                entry.time,
                entry.motor_rpm,
                entry.fan_rpm,
                ratio,
                miss_of_pair(site, entry),
                _is_fresh(done[: place + 1]),
                epoch.machine.drive.can_slip,
                ratio != healthy,
            )
        )
    return tuple(found)


def _is_fresh(done: Sequence[ServiceEntry]) -> bool:
    date = done[-1].date
    tensioned = [e for e in done if Parameter.SLIP in ended_by(e.work, e.role) and date - e.date <= _FRESH]
    return bool(tensioned)


def hear(
    pairs: Pairs, due: Iterable[PairDue], date: dt.date, first: dt.date | None, *, is_served: bool
) -> list[str]:
    """Take up a day's pairs; return what its note says of those that will never be compared.

    Parameters: `first` of the healthy period; `is_served` whether the belt was worked on since the day
    before, so that what was read before the work says nothing of the belt after it.
    """
    waiting, told = [], []
    for pair in [*pairs.waiting, *due]:
        words = _why_never(pairs, pair, first or date, is_served=is_served)
        if words is None:
            waiting.append(pair)
            continue
        told.append(words)
        pairs.rows.append(_row(pair, date, words))
    pairs.waiting = waiting
    return told


def _why_never(pairs: Pairs, pair: PairDue, first: dt.date, *, is_served: bool) -> str | None:
    if pair.miss is not None:
        return refused_pair_words(pair.miss)
    if slip_of_pair(pair.motor_rpm, pair.wheel_rpm, pairs.nominal(pair)) is None:
        return refused_pair_words(pair.wheel_rpm / (pair.motor_rpm * pairs.nominal(pair)) - 1.0)
    if not pair.can_slip:
        ratio = pair.wheel_rpm / pair.motor_rpm
        return fixed_drive_pair_words(None if pair.nominal is None else ratio / pair.nominal - 1.0)
    if first - pair.date > _BEFORE_HEALTHY:
        return "tachometer pair of before the healthy period: not used"
    if is_served and not pair.is_fresh:
        return "tachometer pair read before the work: no judged day to hold it against"
    return None


def taken(pairs: Pairs, local_hours: np.ndarray) -> tuple[PairTaken, ...]:
    """Return the waiting pairs as a judged day takes them; `local_hours` of the day's operating points."""
    return tuple(_taken(pairs, due, local_hours) for due in pairs.waiting)


def _taken(pairs: Pairs, due: PairDue, local_hours: np.ndarray) -> PairTaken:
    slip = slip_of_pair(due.motor_rpm, due.wheel_rpm, pairs.nominal(due))
    if slip is None:
        raise ValueError(f"the pair of {due.date} is impossible and was not refused")
    hour = None
    if due.time is not None:
        places = np.flatnonzero(local_hours == due.time.hour)
        hour = int(places[0]) if len(places) else None
    return PairTaken(slip, hour, due.is_fresh, due.is_of_new_sheaves)


def known_now(pairs: Pairs) -> tuple[Pair, ...]:
    """Return the pairs the level rests on: those of the ratio in force."""
    return pairs.of_ratio(pairs.nominal(pairs.waiting[0]) if pairs.waiting else None)


def ratio_sd_pct(pairs: Pairs) -> float:
    """Return how sure the nominal ratio is of the pairs that wait, else of those the level rests on."""
    is_declared = pairs.waiting[-1].nominal is not None if pairs.waiting else pairs.is_declared
    return SHEAVE_RATIO_SD_PCT if is_declared else UNKNOWN_RATIO_SD_PCT


def keep_compared(pairs: Pairs, date: dt.date, compared: Sequence[Compared]) -> list[str]:
    """Keep what a judged day made of its waiting pairs; return what its note says of them."""
    told = []
    for due, one in zip(pairs.waiting, compared, strict=True):
        nominal = pairs.nominal(due)
        words = compared_pair_words(
            one.pair.slip_pct, one.inferred_pct, one.inferred_low_pct, one.inferred_high_pct
        )
        told.append(words)
        pairs.rows.append(
            _row(due, date, words)
            | {
                "nominal_ratio": nominal,
                "slip_pct": one.pair.slip_pct,
                "inferred_pct": one.inferred_pct,
                "inferred_low_pct": one.inferred_low_pct,
                "inferred_high_pct": one.inferred_high_pct,
                "change_pct": one.pair.change_pct,
                "change_sd_pct": one.pair.change_sd_pct,
                "load_ratio": one.pair.load_ratio,
                "is_taught": one.is_taught,
            }
        )
        if one.is_taught:
            pairs.known.append((nominal, one.pair))
            pairs.is_declared = due.nominal is not None
    pairs.waiting = []
    return told


def _row(due: PairDue, date: dt.date, words: str) -> dict[str, Any]:
    return {
        "date": due.date,
        "number": due.number,
        "compared_on": date,
        "motor_rpm": due.motor_rpm,
        "wheel_rpm": due.wheel_rpm,
        "is_fresh": due.is_fresh,
        "is_declared": due.nominal is not None,
        "nominal_ratio": due.nominal,
        "is_taught": False,
        "words": words,
        **dict.fromkeys(_COMPARISON),
    }


def known_pairs(connection: sa.Connection, fan: str, begins: dt.date | None, until: dt.date) -> Pairs:
    """Return the pairs a stretch's level rests on at the end of a day, as they were written down."""
    table = tachometer_pairs
    query = sa.select(table).where(table.c.fan == fan, table.c.is_taught, table.c.compared_on <= until)
    if begins is not None:
        query = query.where(table.c.compared_on >= begins)
    pairs = Pairs()
    for row in connection.execute(query.order_by(table.c.compared_on, table.c.date, table.c.number)):
        pair = Pair(row.slip_pct, row.change_pct, row.change_sd_pct, row.load_ratio, row.is_fresh)
        pairs.known.append((row.nominal_ratio, pair))
        pairs.is_declared = row.is_declared
    return pairs


def write_pairs(
    connection: sa.Connection, fan: str, restart: dt.date, rows: Iterable[dict[str, Any]]
) -> None:
    """Replace a fan's pairs from a day on."""
    gone = (tachometer_pairs.c.fan == fan) & (tachometer_pairs.c.compared_on >= restart)
    connection.execute(sa.delete(tachometer_pairs).where(gone))
    written = [{"fan": fan, **row} for row in rows]
    if written:
        connection.execute(sa.insert(tachometer_pairs), written)
