"""Which value holds where exports disagree: per column the highest-ranked one that is there."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa

from service.store.columns import FAN, RANK_COLUMNS, TIME


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
    if not _is_sorted(fan, time):
        order = np.lexsort((time, fan))
        rows, fan, time = rows.take(pa.array(order)), fan[order], time[order]
    is_shared = np.zeros(len(time), dtype=bool)
    is_same_as_next = (fan[1:] == fan[:-1]) & (time[1:] == time[:-1])
    is_shared[1:] |= is_same_as_next
    is_shared[:-1] |= is_same_as_next
    wanted = [FAN, TIME, *columns]
    if not is_shared.any():
        whole: pd.DataFrame = rows.select(wanted).to_pandas()
        return whole
    alone: pd.DataFrame = rows.select(wanted).filter(pa.array(~is_shared)).to_pandas()
    shared = _merged(rows.filter(pa.array(is_shared)).to_pandas(), wanted)
    both = pd.concat([alone, shared], ignore_index=True)
    return both.sort_values([FAN, TIME], kind="stable", ignore_index=True)


def _is_sorted(fan: np.ndarray, time: np.ndarray) -> bool:
    later_fan = fan[1:] > fan[:-1]
    same_fan = fan[1:] == fan[:-1]
    return bool(np.all(later_fan | (same_fan & (time[1:] >= time[:-1]))))


def _merged(shared: pd.DataFrame, wanted: Sequence[str]) -> pd.DataFrame:
    by_rank = shared.sort_values([FAN, TIME, *RANK_COLUMNS], kind="stable")
    merged = by_rank[list(wanted)].groupby([FAN, TIME], sort=False, as_index=False).last()
    return merged[list(wanted)]
