"""Whole classes of drawn fans judged, one class a process."""

from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from itertools import product

import pandas as pd

from tests.accuracy.drawing import draw_class
from tests.accuracy.judged import judge

FANS_A_BATCH = 30


def judge_class(task: tuple[int, str, int, int]) -> pd.DataFrame:
    """Judge the fans from a first to a last number of one class: (seed, cause, first, last)."""
    seed, cause, first, last = task
    return judge(draw_class(seed, cause, range(first, last)))


def judge_classes(
    seed: int, causes: Sequence[str], fans: int, processes: int = 1, executor: Executor | None = None
) -> pd.DataFrame:
    """Judge so many fans of each class, in batches."""
    tasks = [
        (seed, cause, first, min(first + FANS_A_BATCH, fans))
        for cause, first in product(causes, range(0, fans, FANS_A_BATCH))
    ]
    if processes == 1:
        return pd.concat([judge_class(task) for task in tasks], ignore_index=True)
    with executor or ProcessPoolExecutor(processes) as pool:
        return pd.concat(list(pool.map(judge_class, tasks)), ignore_index=True)
