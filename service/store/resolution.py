"""Which value holds where exports disagree: per column the highest-ranked one that is there."""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from service.store.columns import FAN, RANK_COLUMNS, TIME

Integers = NDArray[np.int64]
Places = NDArray[np.intp]

_LONG_RUN: Final = 64


def resolve(
    rows: pa.Table, columns: Sequence[str], ranks: Callable[[], pa.Table] | None = None
) -> pd.DataFrame:
    """Return one row a fan and time, sorted by both, from rows as they were appended.

    Where two rows speak of one column at one time, the greater rank wins, whatever order they were appended
    in. Parameters: `rows`; `columns` wanted; `ranks`, asked for the rank columns of the same rows where two
    speak of one time, None where `rows` carries them.
    """
    wanted = [FAN, TIME, *columns]
    alone = told_once(rows.select(wanted))
    if alone is not None:
        told: pd.DataFrame = alone.to_pandas()
        return told
    fan, time = _keys(rows)
    order = np.lexsort((time, fan))
    fan, time = fan[order], time[order]
    is_shared = np.zeros(len(time), dtype=bool)
    is_same_as_next = (fan[1:] == fan[:-1]) & (time[1:] == time[:-1])
    is_shared[1:] |= is_same_as_next
    is_shared[:-1] |= is_same_as_next
    single = _taken(rows.select(wanted), order[~is_shared])
    if not is_shared.any():
        return single
    # Ranks are looked at only where rows disagree: they are half of what there is to move about.
    for name, column in zip(RANK_COLUMNS, [] if ranks is None else ranks().itercolumns(), strict=False):
        rows = rows.append_column(name, column)
    shared = _merged(_taken(rows, order[is_shared]), wanted)
    both = pd.concat([single, shared], ignore_index=True)
    return both.sort_values([FAN, TIME], kind="stable", ignore_index=True)


def told_once(rows: pa.Table) -> pa.Table | None:
    """Return rows in order of fan and time; None where two speak of one time, or runs of them overlap.

    Files are sorted, so that whole runs of rows change places.
    """
    fan, time = _keys(rows)
    begins = np.append(0, np.flatnonzero((fan[1:] != fan[:-1]) | (time[1:] <= time[:-1])) + 1)[: len(time)]
    ends = np.append(begins[1:], len(time))[: len(begins)]
    order = np.lexsort((time[begins], fan[begins]))
    begins, ends = begins[order], ends[order]
    if ((fan[begins][1:] == fan[begins][:-1]) & (time[begins][1:] <= time[ends - 1][:-1])).any():
        return None
    if (order[1:] > order[:-1]).all():
        return rows
    if len(order) > len(time) // _LONG_RUN:
        steps = np.arange(len(time)) - np.repeat(np.cumsum(ends - begins) - (ends - begins), ends - begins)
        return rows.combine_chunks().take(pa.array(steps + np.repeat(begins, ends - begins)))
    return pa.concat_tables([rows.slice(begin, end - begin) for begin, end in zip(begins, ends, strict=True)])


def _keys(rows: pa.Table) -> tuple[Integers, Integers]:
    """Return each row's fan, numbered in the order of their names, and its time [us since 1970]."""
    fans = rows.column(FAN).combine_chunks().dictionary_encode()
    names = np.asarray(fans.dictionary.to_pylist(), dtype=object)
    place = np.empty(len(names), dtype=np.int64)
    place[np.argsort(names, kind="stable")] = np.arange(len(names))
    fan = place[fans.indices.to_numpy(zero_copy_only=False)] if len(names) else np.empty(0, dtype=np.int64)
    return fan, rows.column(TIME).cast(pa.int64()).to_numpy()


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


def _merged(shared: pd.DataFrame, wanted: Sequence[str]) -> pd.DataFrame:
    by_rank = shared.sort_values([FAN, TIME, *RANK_COLUMNS], kind="stable")
    merged = by_rank[list(wanted)].groupby([FAN, TIME], sort=False, as_index=False).last()
    return merged[list(wanted)]
