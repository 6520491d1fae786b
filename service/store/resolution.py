"""Which value holds where exports disagree: per column the highest-ranked one that is there."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from service.store.columns import FAN, RANK_COLUMNS, TIME

Places = NDArray[np.intp]

_LONG_RUN: Final = 64


def resolve(rows: pa.Table, columns: Sequence[str]) -> pd.DataFrame:
    """Return one row a fan and time, sorted by both, from rows as they were appended.

    `rows` carries the rank columns; where two rows speak of one column at one time, the greater rank wins,
    whatever order they were appended in.
    """
    fans = rows.column(FAN).combine_chunks().dictionary_encode()
    names = np.asarray(fans.dictionary.to_pylist(), dtype=object)
    alphabetical = np.argsort(names, kind="stable")
    place = np.empty(len(names), dtype=np.int64)
    place[alphabetical] = np.arange(len(names))
    fan = place[fans.indices.to_numpy(zero_copy_only=False)] if len(names) else np.empty(0, dtype=np.int64)
    time = rows.column(TIME).cast(pa.int64()).to_numpy()
    order = None if _is_sorted(fan, time) else np.lexsort((time, fan))
    if order is not None:
        fan, time = fan[order], time[order]
    is_shared = np.zeros(len(time), dtype=bool)
    is_same_as_next = (fan[1:] == fan[:-1]) & (time[1:] == time[:-1])
    is_shared[1:] |= is_same_as_next
    is_shared[:-1] |= is_same_as_next
    wanted = [FAN, TIME, *columns]
    # Ranks are looked at only where rows disagree: they are half of what there is to move about.
    alone = _taken(rows.select(wanted), np.flatnonzero(~is_shared) if order is None else order[~is_shared])
    if not is_shared.any():
        return alone
    shared = _merged(_taken(rows, np.flatnonzero(is_shared) if order is None else order[is_shared]), wanted)
    both = pd.concat([alone, shared], ignore_index=True)
    return both.sort_values([FAN, TIME], kind="stable", ignore_index=True)


def _taken(rows: pa.Table, places: Places) -> pd.DataFrame:
    """Return some rows in the order of their places."""
    begins = np.flatnonzero(np.append(True, np.diff(places) != 1)[: len(places)])
    if len(begins) > len(places) // _LONG_RUN:
        scattered: pd.DataFrame = rows.combine_chunks().take(pa.array(places)).to_pandas()
        return scattered
    # A fan's rows of a month lie together: pieces put side by side are not moved one by one.
    ends = [*begins[1:], *([len(places)] if len(places) else [])]
    pieces = [rows.slice(places[begin], end - begin) for begin, end in zip(begins, ends, strict=True)]
    together: pd.DataFrame = pa.concat_tables([rows.schema.empty_table(), *pieces]).to_pandas()
    return together


def _is_sorted(fan: np.ndarray, time: np.ndarray) -> bool:
    later_fan = fan[1:] > fan[:-1]
    same_fan = fan[1:] == fan[:-1]
    return bool(np.all(later_fan | (same_fan & (time[1:] >= time[:-1]))))


def _merged(shared: pd.DataFrame, wanted: Sequence[str]) -> pd.DataFrame:
    by_rank = shared.sort_values([FAN, TIME, *RANK_COLUMNS], kind="stable")
    merged = by_rank[list(wanted)].groupby([FAN, TIME], sort=False, as_index=False).last()
    return merged[list(wanted)]
