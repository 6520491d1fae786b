"""Under which ranks the table holds its values: looked at only where an export says otherwise."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from service.intake.months import by_month
from service.intake.ranks import Rank, Ranks
from service.intake.zones import Times
from service.store.columns import FAN, RANK_COLUMNS, TIME


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of one fan and month as they were appended, in order of their times."""

    times_us: Times
    ranks: NDArray[np.int32]  # numbers
    values: pa.Table


class HeldRanks:
    """The rows a pass has fetched from the table, found by fan and month once somebody asks."""

    def __init__(self, ranks: Ranks) -> None:
        """Number the ranks among those of a pass."""
        self._ranks = ranks
        self._waiting: list[pa.Table] = []
        self._rows: dict[tuple[str, int], list[_Rows]] = {}

    def add(self, raw: pa.Table) -> None:
        """Take in rows as they were appended, ranks included."""
        self._waiting.append(raw)

    def of(self, fan: str, month: int, column: str, times_us: Times) -> NDArray[np.int32]:
        """Return the numbers of the ranks under which a fan's column is held at some times of a month.

        Parameters: `times_us` [us since 1970], distinct, in order, each one held by the table. Of several
        ranks at one time the greatest holds.
        """
        while self._waiting:
            self._sort_in(self._waiting.pop())
        times, numbers = [], []
        for rows in self._rows[fan, month]:
            near = np.minimum(np.searchsorted(times_us, rows.times_us), len(times_us) - 1)
            is_sought = (times_us[near] == rows.times_us) & rows.values.column(column).is_valid().to_numpy()
            times.append(rows.times_us[is_sought])
            numbers.append(rows.ranks[is_sought])
        all_times, all_numbers = np.concatenate(times), np.concatenate(numbers)
        places = all_numbers if len(all_times) == len(times_us) else self._ranks.places(all_numbers)
        order = np.lexsort((places, all_times))
        last = np.searchsorted(all_times[order], times_us, side="right") - 1
        held: NDArray[np.int32] = all_numbers[order][last]
        return held

    def _sort_in(self, raw: pa.Table) -> None:
        """Part rows by fan and month; each part is a view of them, sorted once."""
        fans = raw.column(FAN).combine_chunks().dictionary_encode()
        codes = fans.indices.to_numpy(zero_copy_only=False)
        times = raw.column(TIME).cast(pa.int64()).to_numpy()
        order = np.lexsort((times, codes))
        rows, codes, times = raw.take(pa.array(order)), codes[order], times[order]
        numbers = self._numbers(rows)
        ends = np.cumsum(np.bincount(codes, minlength=len(fans.dictionary))).tolist()
        for fan, start, end in zip(fans.dictionary.to_pylist(), [0, *ends], ends, strict=False):
            for month, within in by_month(times[start:end]):
                span = slice(start + within.start, start + within.stop)
                part = _Rows(times[span], numbers[span], rows.slice(span.start, span.stop - span.start))
                self._rows.setdefault((fan, month), []).append(part)

    def _numbers(self, rows: pa.Table) -> NDArray[np.int32]:
        """Return the number of each row's rank: there are as few ranks as there were exports."""
        frame = rows.select(RANK_COLUMNS).to_pandas()
        place = frame.groupby(list(RANK_COLUMNS), sort=False).ngroup().to_numpy()
        distinct = frame.drop_duplicates()  # in the order that the groups are numbered in
        numbers = [
            self._ranks.number(Rank(int(row[0]), int(row[1]), str(row[2]))) for row in distinct.to_numpy()
        ]
        of_rows: NDArray[np.int32] = np.array(numbers, dtype=np.int32)[place]
        return of_rows
