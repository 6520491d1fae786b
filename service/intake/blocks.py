"""The readings of one fan and month held in memory during a pass: what is known, what is new, what won."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.intake.ranks import Rank, Ranks
from service.intake.zones import Mask, Times

STORED, IDENTICAL, SUPERSEDED = 0, 1, 2
UNRANKED: Final = -1  # held from the table: its rank is looked up when it is asked for
CLEAN, NEW, WON = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an export stands among those that spoke before it, and what is asked where they disagree."""

    rank: Rank
    ranks: Ranks  # all that the pass has met, by number
    ranks_held: Callable[[str, Times], NDArray[np.int32]]  # of a column's values in the table
    is_outranked: Callable[[Times], Mask]  # by an export that was read and speaks of the time


@dataclass(slots=True)
class Cells:
    """One column of a fan: values, the numbers of their ranks, and what this pass did to them."""

    values: NDArray[np.float64]
    ranks: NDArray[np.int32]
    states: NDArray[np.int8]

    @classmethod
    def empty(cls, size: int) -> "Cells":
        """Return cells that hold nothing."""
        return cls(np.full(size, np.nan), np.full(size, UNRANKED, np.int32), np.zeros(size, np.int8))

    @classmethod
    def of(cls, values: NDArray[np.float64], number: int) -> "Cells":
        """Return cells that hold an export's new values, which become theirs."""
        size = len(values)
        return cls(values, np.full(size, number, np.int32), np.full(size, NEW, np.int8))

    def spread(self, place: NDArray[np.intp], size: int) -> "Cells":
        """Return them at new places among more times."""
        wider = Cells.empty(size)
        wider.values[place], wider.ranks[place], wider.states[place] = self.values, self.ranks, self.states
        return wider


class Block:
    """One fan's readings of one month, at the times that a pass speaks of."""

    def __init__(self, fan: str) -> None:
        """Begin with nothing known."""
        self.fan = fan
        self.times_us: Times = np.empty(0, dtype=np.int64)
        self.columns: dict[str, Cells] = {}
        self.dirty = 0

    def hold(self, times_us: Times, column: str, values: NDArray[np.float64]) -> None:
        """Take in what the table already holds; distinct times in order, NaN where it holds nothing."""
        place = self._place(times_us)
        cells = self._cells(column)
        is_held = ~np.isnan(values)
        cells.values[place[is_held]] = values[is_held]

    def offer(
        self, column: str, times_us: Times, values: NDArray[np.float64], standing: Standing
    ) -> NDArray[np.int8]:
        """Offer an export's values, which become the block's; return what became of each of them.

        Each was stored, identical or superseded.
        """
        number = standing.ranks.number(standing.rank)
        if column not in self.columns and self._is_all(times_us):
            self.columns[column] = Cells.of(values, number)
            self.dirty += len(values)
            return np.full(len(values), STORED, np.int8)
        place = self._place(times_us)
        cells = self._cells(column)
        held = cells.values[place]
        is_new = np.isnan(held)
        result = np.where(is_new, STORED, np.where(held == values, IDENTICAL, SUPERSEDED)).astype(np.int8)
        if is_new.all():
            self._put(cells, place, values, number, NEW)
            return result
        self._put(cells, place[is_new], values[is_new], number, NEW)
        is_same = result == IDENTICAL
        raised = place[is_same]
        known = cells.ranks[raised]
        below = np.append(standing.ranks.below(standing.rank), False)  # the last stands for UNRANKED
        cells.ranks[raised] = np.where(below[known], number, known)
        differs = np.flatnonzero(result == SUPERSEDED)
        if differs.size:
            won = differs[self._wins(column, place[differs], times_us[differs], standing)]
            result[won] = STORED
            spots = place[won]
            is_unwritten = cells.states[spots] == NEW
            self._put(cells, spots, values[won], number, np.where(is_unwritten, NEW, WON).astype(np.int8))
        return result

    def _wins(self, column: str, place: NDArray[np.intp], times_us: Times, standing: Standing) -> Mask:
        """Decide conflicts. A held value's known rank may be too low: an equal value is not written again.

        So where the newcomer outranks what is known, any read export that outranks the newcomer and speaks of
        the time has said the held value.
        """
        ranks = self.columns[column].ranks
        unranked = ranks[place] == UNRANKED
        if unranked.any():
            ranks[place[unranked]] = standing.ranks_held(column, times_us[unranked])
        wins: Mask = standing.ranks.below(standing.rank)[ranks[place]]
        if wins.any():
            candidates = np.flatnonzero(wins)
            wins[candidates] = ~standing.is_outranked(times_us[candidates])
        return wins

    def _put(
        self,
        cells: Cells,
        place: NDArray[np.intp],
        values: NDArray[np.float64],
        number: int,
        state: NDArray[np.int8] | int,
    ) -> None:
        cells.values[place] = values
        cells.ranks[place] = number
        cells.states[place] = state
        self.dirty += len(place)

    def _cells(self, column: str) -> Cells:
        if column not in self.columns:
            self.columns[column] = Cells.empty(len(self.times_us))
        return self.columns[column]

    def _is_all(self, times_us: Times) -> bool:
        """Tell whether times are all that the block speaks of, as the first ones are."""
        if not self.times_us.size:
            self.times_us = times_us
            self.columns = {name: Cells.empty(len(times_us)) for name in self.columns}
            return True
        return times_us.size == len(self.times_us) and np.array_equal(times_us, self.times_us)

    def _place(self, times_us: Times) -> NDArray[np.intp]:
        """Return where times stand in the block, making room for those that are not there yet."""
        if self._is_all(times_us):
            return np.arange(len(times_us))
        place = np.searchsorted(self.times_us, times_us)
        inside = np.minimum(place, max(len(self.times_us) - 1, 0))
        if self.times_us.size and np.array_equal(self.times_us[inside], times_us):
            return place
        # Both are in order, so they are laid side by side: sorting all of them anew costs ten times as much.
        is_there = self.times_us[inside] == times_us if self.times_us.size else np.zeros(len(times_us), bool)
        fresh = place[~is_there]
        is_fresh = np.zeros(len(self.times_us) + len(fresh), dtype=bool)
        is_fresh[fresh + np.arange(len(fresh))] = True
        union = np.empty(len(is_fresh), dtype=np.int64)
        union[is_fresh], union[~is_fresh] = times_us[~is_there], self.times_us
        old_place = np.flatnonzero(~is_fresh)
        self.columns = {name: cells.spread(old_place, len(union)) for name, cells in self.columns.items()}
        self.times_us = union
        return np.searchsorted(union, times_us)
