"""Whole classes of drawn fans judged, a batch a process, each batch kept so that a stopped run goes on."""

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import pandas as pd
from threadpoolctl import threadpool_limits

from analytics.results_version import RESULTS_VERSION
from tests.accuracy.drawing import draw_class
from tests.accuracy.judged import judge

FANS_A_BATCH = 15


@dataclass(frozen=True, slots=True)
class Batch:
    """Fans `first` to before `last` of one class of a seed, run for so many `days` (None: as the class says).

    `kept_in` the folder of finished batches, None to keep none; `minutes` between readings, None: drawn.
    """

    seed: int
    cause: str
    first: int
    last: int
    days: int | None = None
    kept_in: Path | None = None
    minutes: int | None = None

    @property
    def path(self) -> Path | None:
        """Where the judged batch is kept: under the version of the results, so that none passes for newer."""
        if self.kept_in is None:
            return None
        days = "" if self.days is None else f"_{self.days}d"
        name = f"{self.seed}_{self.cause.replace(' ', '_')}_{self.first}_{self.last}{days}.pkl"
        return self.kept_in / RESULTS_VERSION / name


def judge_batch(batch: Batch) -> pd.DataFrame:
    """Judge a batch, or read what an earlier run judged."""
    path = batch.path
    if path is not None and path.exists():
        return pd.read_pickle(path)
    numbers = range(batch.first, batch.last)
    with threadpool_limits(limits=1):  # as `assess` does; each core has a batch of its own already
        judged = judge(draw_class(batch.seed, batch.cause, numbers, batch.days, batch.minutes))
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        unfinished = path.with_suffix(".part")
        judged.to_pickle(unfinished)
        unfinished.rename(path)
    return judged


def batches(
    seed: int, causes: Sequence[str], fans: int, *, days: int | None = None, kept_in: Path | None = None
) -> list[Batch]:
    """Return the batches of so many fans of each class, so ordered that every class comes early."""
    firsts = range(0, fans, FANS_A_BATCH)
    return [
        Batch(seed, cause, first, min(first + FANS_A_BATCH, fans), days, kept_in)
        for first, cause in product(firsts, causes)
    ]


def judge_each(
    tasks: Sequence[Batch], processes: int = 1, executor: Executor | None = None
) -> Iterator[pd.DataFrame]:
    """Judge batches, yielding each in order as it is done."""
    if processes == 1 and executor is None:
        yield from map(judge_batch, tasks)
        return
    with nullcontext(executor) if executor else ProcessPoolExecutor(processes) as pool:
        yield from pool.map(judge_batch, tasks)


def judge_classes(
    seed: int, causes: Sequence[str], fans: int, processes: int = 1, minutes: int | None = None
) -> pd.DataFrame:
    """Judge so many fans of each class; `minutes` between readings, None: drawn."""
    tasks = [replace(batch, minutes=minutes) for batch in batches(seed, causes, fans)]
    return pd.concat(list(judge_each(tasks, processes)), ignore_index=True)
