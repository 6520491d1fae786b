"""Who shares in the work: this process, others of this machine, or a Dask cluster, behind one interface."""

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context, parent_process
from multiprocessing.process import BaseProcess
from threading import Thread
from typing import Any, Final, TypeVar

from threadpoolctl import threadpool_limits

from config.assessing import AssessTable
from service.failure import WorkFailed

# So many fan-days are done in the time that it takes to start a process.
_WORTH_A_PROCESS: Final = 3000.0
# Results wait for those before them: so many pieces a worker are under way, whatever the fleet's size.
_AHEAD: Final = 2
_CONNECT_S: Final = 20

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Piece:
    """One call's worth of work: its arguments, and its size in fan-days."""

    arguments: tuple[Any, ...]
    size: float


@dataclass(slots=True)
class Workers:
    """Those who share in the work; `begin` starts them, None where this process does it alone.

    `count` of them; `done` how many fan-days this process has done before it was worth starting others.
    """

    begin: Callable[[], Executor] | None
    count: int
    worth: float = _WORTH_A_PROCESS
    done: float = 0.0
    executor: Executor | None = field(default=None)

    def in_order(self, work: Callable[..., Result], pieces: Iterable[Piece]) -> Iterator[Result]:
        """Yield what `work` makes of each piece, in the order of the pieces.

        Pieces are asked for as they are needed: a few a worker are held at a time, however many there are.
        """
        waiting: deque[Future[Result]] = deque()
        try:
            for piece in pieces:
                if self.begin is None or (self.executor is None and self.done < self.worth):
                    self.done += piece.size
                    yield work(*piece.arguments)
                    continue
                if self.executor is None:
                    self.executor = self.begin()
                waiting.append(self.executor.submit(_on_one_thread, work, piece.arguments))
                # What is done is handed on before more is asked for: a year of fans' days is 100 MB.
                while waiting and (waiting[0].done() or len(waiting) >= _AHEAD * self.count):
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        except BrokenExecutor as error:
            raise WorkFailed(
                "a process that shared in the work was ended from outside, perhaps for want of memory; "
                "nothing is lost: assess again, with fewer workers in [assess] of site.toml if it happens "
                "again"
            ) from error
        finally:
            for future in waiting:
                future.cancel()


def alone() -> Workers:
    """Return nobody but this process."""
    return Workers(None, 1)


def _on_one_thread(work: Callable[..., Result], arguments: tuple[Any, ...]) -> Result:
    # The matrices are small: threads of the linear algebra only wait for each other.
    with threadpool_limits(limits=1):
        return work(*arguments)


@contextmanager
def workers_of(table: AssessTable) -> Iterator[Workers]:
    """Hold the workers that a site declares, ended when the work is."""
    if table.executor == "dask":
        with _cluster(table.scheduler) as workers:
            yield workers
        return
    count = table.workers or _cores()
    workers = Workers((lambda: _processes(count)) if count > 1 else None, count)
    try:
        yield workers
    finally:
        if workers.executor is not None:
            workers.executor.shutdown(cancel_futures=True)


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _processes(count: int) -> Executor:
    # Spawned: the libraries that read the tables have threads of their own, which a fork would break.
    return ProcessPoolExecutor(count, get_context("spawn"), _end_with_parent)


def _end_with_parent() -> None:
    """End this process when the one that began it has died without a word."""
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


@contextmanager
def _cluster(scheduler: str) -> Iterator[Workers]:
    try:
        from distributed import Client, KilledWorker  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise WorkFailed(
            'a Dask cluster needs the extra "cluster": pip install slipledger[cluster]'
        ) from error
    try:
        client = Client(scheduler, timeout=_CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError) as error:
        raise WorkFailed(
            f"no Dask scheduler answers at {scheduler}: start it, or put its address right in [assess] of "
            "site.toml"
        ) from error
    with client:
        count = max(sum(client.nthreads().values()), 1)  # type: ignore[no-untyped-call]
        # Pieces are not looked up by their contents: each is done once, and again only if its worker dies.
        executor: Executor = client.get_executor(pure=False)  # type: ignore[no-untyped-call]
        try:
            yield Workers(lambda: executor, count, worth=0.0)
        except (KilledWorker, CancelledError) as error:
            raise WorkFailed(
                f"the Dask cluster at {scheduler} gave up: {error}; nothing is lost: assess again"
            ) from error
