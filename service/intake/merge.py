"""Bringing exports together with what is held: what is stored, what is the same, what loses.

What a pass holds in memory stands in blocks of a fan and month: an export costs what the months it speaks of
hold, however long the pass already is.
"""

import datetime as dt
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from service.intake.accounts import FileReading
from service.intake.blocks import IDENTICAL, NEW, STORED, SUPERSEDED, UNRANKED, WON, Block, Standing
from service.intake.held_ranks import HeldRanks
from service.intake.mapping import PointMap, Target
from service.intake.months import by_month, month_number
from service.intake.ranks import Rank, Ranks
from service.intake.series import Series
from service.intake.zones import Clock, Mask, Times
from service.store.columns import FAN, MONTH, RANK_COLUMNS, READINGS_SCHEMA, TIME, TIME_TYPE, VALUE_COLUMNS
from service.store.readings import Readings, in_microseconds, month_of
from service.store.resolution import resolve

# Does an export that was read, and outranks this rank, give the point a value at these times?
LaterWord = Callable[[str, Times, Rank], Mask]


@dataclass(slots=True)
class Outcome:
    """What became of an export's values, each counted once however many fans share its point."""

    stored: int = 0
    identical: int = 0
    superseded: int = 0
    unmapped: int = 0


class Merge:
    """The blocks of one pass, filled from the table as exports speak of them."""

    def __init__(self, readings: Readings, points: PointMap, later_word: LaterWord) -> None:
        """Merge into one generation of the readings."""
        self._readings = readings
        self._points = points
        self._later_word = later_word
        self._ranks = Ranks()
        self._blocks: dict[tuple[str, int], Block] = {}  # by fan and month
        self._loaded: dict[str, tuple[int, int]] = {}  # by fan: where [low, high) the table's rows are here
        self._held_ranks = HeldRanks(self._ranks)
        self.waiting = 0  # values to be written

    def add(self, reading: FileReading, rank: Rank) -> Outcome:
        """Offer an export's values to what is held."""
        outcome = Outcome()
        self._load(reading)
        for point, series in reading.series.items():
            is_counted = np.zeros(len(series.times_us), dtype=bool)
            for target in self._points.targets[point]:
                is_counted |= self._offer(point, series, target, rank, is_counted, outcome)
            outcome.unmapped += _weight(series, ~is_counted)
        return outcome

    def _offer(
        self, point: str, series: Series, target: Target, rank: Rank, is_counted: Mask, outcome: Outcome
    ) -> Mask:
        """Offer a point's values to one of its uses; count those that no earlier use has counted."""
        holds = (series.times_us >= target.start_us) & (series.times_us < target.end_us)
        if not holds.any():
            return holds
        is_whole = bool(holds.all())
        times = series.times_us if is_whole else series.times_us[holds]
        written = series.values if is_whole else series.values[holds]
        values = target.to_si(written) + 0.0  # a minus zero is a zero
        result = np.empty(len(times), dtype=np.int8)
        for month, span in by_month(times):
            block = self._block(target.fan, month)
            before = block.dirty
            standing = self._standing(point, target, month, rank)
            result[span] = block.offer(target.column, times[span], values[span], standing)
            self.waiting += block.dirty - before
        states = result
        if not is_whole:
            states = np.full(len(series.times_us), -1, dtype=np.int8)
            states[holds] = result
        states[is_counted] = -1
        outcome.stored += int(np.count_nonzero(states == STORED))
        outcome.identical += int(np.count_nonzero(states == IDENTICAL)) + _sum(series.repeated, states >= 0)
        outcome.superseded += int(np.count_nonzero(states == SUPERSEDED)) + _sum(
            series.overruled, states >= 0
        )
        return holds

    def _standing(self, point: str, target: Target, month: int, rank: Rank) -> Standing:
        """Return what an export may ask for where a point of it disagrees with what is held."""
        return Standing(
            rank,
            self._ranks,
            lambda column, sought: self._held_ranks.of(target.fan, month, column, sought),
            lambda sought: self._later_word(point, sought, rank),
        )

    def _block(self, fan: str, month: int) -> Block:
        if (fan, month) not in self._blocks:
            self._blocks[fan, month] = Block(fan)
        return self._blocks[fan, month]

    def held(self, fan: str, column: str, start_us: int, end_us: int) -> tuple[Times, NDArray[np.float64]]:
        """Return what is held of a fan's column in [start, end): by the table, and by this pass so far."""
        self._load_span({fan}, (start_us, end_us))
        times, values = [np.empty(0, dtype=np.int64)], [np.empty(0)]
        for month in range(month_number(start_us), month_number(end_us - 1) + 1):
            block = self._blocks.get((fan, month))
            if block is None or column not in block.columns:
                continue
            low, high = np.searchsorted(block.times_us, (start_us, end_us)).tolist()
            some = block.columns[column].values[low:high]
            is_held = ~np.isnan(some)
            times.append(block.times_us[low:high][is_held])
            values.append(some[is_held])
        return np.concatenate(times), np.concatenate(values)

    def _load(self, reading: FileReading) -> None:
        """Fetch what the table holds of the fans an export speaks of, for the time it spans."""
        if reading.first_us is None or reading.newest_us is None:
            return
        fans = {target.fan for point in reading.series for target in self._points.targets[point]}
        self._load_span(fans, (reading.first_us, reading.newest_us + 1))

    def _load_span(self, fans: Collection[str], span: tuple[int, int]) -> None:
        wanted: OrderedDict[tuple[int, int], list[str]] = OrderedDict()
        for fan in sorted(fans):
            loaded = self._loaded.get(fan)
            for gap in _gaps(loaded, span):
                wanted.setdefault(gap, []).append(fan)
            low, high = loaded or span
            self._loaded[fan] = (min(low, span[0]), max(high, span[1]))
        for (low, high), some in wanted.items():
            self._hold(self._readings.raw(some, low, high, VALUE_COLUMNS))

    def _hold(self, raw: pa.Table) -> None:
        if raw.num_rows == 0:
            return
        filled = [name for name in VALUE_COLUMNS if raw.column(name).null_count < raw.num_rows]
        resolved = resolve(raw, filled)
        for fan, rows in resolved.groupby(FAN, sort=False):
            times = in_microseconds(rows[TIME])
            for month, span in by_month(times):
                block = self._block(str(fan), month)
                for column in filled:
                    block.hold(times[span], column, rows[column].to_numpy(dtype=np.float64)[span])
        self._held_ranks.add(raw)

    def take_rows(self) -> pa.RecordBatchReader | None:
        """Return what is to be appended, by fan and time and made as it is read; None where nothing is."""
        if not self.waiting:
            return None
        ranks = _RankColumns(self._ranks)
        batches = (
            batch
            for place in sorted(self._blocks)
            for rows in self._rows(self._blocks[place], ranks)
            for batch in rows.to_batches()
        )
        return pa.RecordBatchReader.from_batches(READINGS_SCHEMA, batches)

    def _rows(self, block: Block, known: "_RankColumns") -> Iterable[pa.Table]:
        """Yield a block's new values, a row a time, and the values that won, a row a time and rank.

        A row of new values carries the lowest of their ranks: too low is put right when a conflict asks.
        """
        if block.dirty == 0 or not block.columns:
            return
        names = list(block.columns)
        states = np.stack([block.columns[name].states for name in names])
        ranks = np.stack([block.columns[name].ranks for name in names])
        is_new = states == NEW
        rows = [self._table(block, names, is_new, _lowest(ranks, is_new, known.places), known)]
        for number in np.unique(ranks[states == WON]):
            is_won = (states == WON) & (ranks == number)
            numbers = np.full(states.shape[1], number, dtype=np.int32)
            rows.append(self._table(block, names, is_won, numbers, known))
        if len(rows) == 1:
            yield rows[0]
            return
        yield pa.concat_tables(rows).sort_by([(TIME, "ascending")])

    def _table(
        self,
        block: Block,
        names: Sequence[str],
        is_taken: NDArray[np.bool_],
        ranks: NDArray[np.int32],
        known: "_RankColumns",
    ) -> pa.Table:
        is_row = is_taken.any(axis=0)
        times = block.times_us[is_row]
        columns: dict[str, pa.Array] = {
            FAN: pa.repeat(pa.scalar(block.fan, pa.string()), len(times)),
            TIME: pa.array(times).cast(TIME_TYPE),
            **known.of(ranks[is_row]),
            MONTH: month_of(times),
        }
        for name in VALUE_COLUMNS:
            if name not in names:
                columns[name] = pa.nulls(len(times), pa.float64())
                continue
            is_blank = ~is_taken[names.index(name)][is_row]
            mask = is_blank if is_blank.any() else None
            columns[name] = pa.array(block.columns[name].values[is_row], mask=mask)
        return pa.Table.from_arrays([columns[name] for name in READINGS_SCHEMA.names], schema=READINGS_SCHEMA)

    def touched(self, clock: Clock) -> list[dict[str, object]]:
        """Return the fan-days whose readings the pass changes."""
        days: dict[tuple[str, dt.date], None] = {}  # a day of the plant may lie in two UTC months
        for (fan, _), block in sorted(self._blocks.items()):
            is_changed = np.zeros(len(block.times_us), dtype=bool)
            for cells in block.columns.values():
                is_changed |= cells.states != 0
            dates = clock.dates(block.times_us[is_changed])  # in order, like the times
            for date in dates[np.append(True, dates[1:] != dates[:-1])[: len(dates)]]:
                days[fan, date.item()] = None
        return [{"fan": fan, "date": date} for fan, date in days]


class _RankColumns:
    """The ranks of a pass as they stand in the table."""

    def __init__(self, ranks: Ranks) -> None:
        self.places = ranks.places(np.arange(len(ranks.known), dtype=np.int32))
        self._columns = {
            name: pa.array([rank[place] for rank in ranks.known], type=READINGS_SCHEMA.field(name).type)
            for place, name in enumerate(RANK_COLUMNS)
        }

    def of(self, numbers: NDArray[np.int32]) -> dict[str, pa.Array]:
        """Return the columns of rows whose ranks have these numbers."""
        if numbers.size and np.all(numbers == numbers[0]):
            first = int(numbers[0])
            return {name: pa.repeat(column[first], len(numbers)) for name, column in self._columns.items()}
        return {name: column.take(pa.array(numbers)) for name, column in self._columns.items()}


def _gaps(loaded: tuple[int, int] | None, span: tuple[int, int]) -> list[tuple[int, int]]:
    if loaded is None:
        return [span]
    # What lies between two spans is fetched with the nearer side, so that the loaded span has no holes.
    before = (span[0], loaded[0]) if span[0] < loaded[0] else None
    after = (loaded[1], span[1]) if span[1] > loaded[1] else None
    return [gap for gap in (before, after) if gap is not None]


def _lowest(
    ranks: NDArray[np.int32], is_taken: NDArray[np.bool_], places: NDArray[np.int64]
) -> NDArray[np.int32]:
    if not is_taken.any():
        return np.zeros(ranks.shape[1], dtype=np.int32)
    highest = len(places)
    by_place = np.where(is_taken, places[np.where(ranks == UNRANKED, 0, ranks)], highest)
    lowest = by_place.min(axis=0)
    number_at = np.empty(highest + 1, dtype=np.int32)
    number_at[places] = np.arange(highest)
    number_at[highest] = 0
    numbers: NDArray[np.int32] = number_at[lowest]
    return numbers


def _weight(series: Series, mask: Mask) -> int:
    return int(np.count_nonzero(mask)) + _sum(series.repeated, mask) + _sum(series.overruled, mask)


def _sum(counts: NDArray[np.int64] | None, mask: Mask) -> int:
    return 0 if counts is None else int(counts[mask].sum())
