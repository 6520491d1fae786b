"""The worker: one process that keeps the rota with a scheduler until it is told to stop."""

import contextlib
import datetime as dt
import math
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import structlog
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler

from config import FaultySite, load_site
from service.store import open_store
from service.store.lease import Holder, Lease, LeaseLost, Pace, WaitEnded
from service.worker.jobs import jobs_of
from service.worker.running import Round, Stopping
from service.worker.trigger import PlanTrigger

_WORKER: Final = "worker"
_LOOKS_EVERY_S: Final = 1.0
_CLOCK_STEP_S: Final = 30.0
_ROTA_EVERY_S: Final = 60.0
_GRACE_S: Final = 4.0
_IN_ORDER: Final = dt.timedelta(milliseconds=1)  # readings come before what is made of them
_LEAST_PAUSE: Final = dt.timedelta(seconds=10)


def work(folder: Path, clock: Callable[[], dt.datetime], stop: threading.Event) -> None:
    """Do a site's jobs until told to stop; where another worker does them, wait for it to go.

    A job that is under way when the stop comes ends at its next safe point; one that takes longer is left
    behind with the process. Whatever it was at is taken up again after the next start.
    """
    with open_store(load_site(folder)) as store:
        lease = Lease(store.database, store.state_folder, _WORKER, Pace(patience_s=math.inf))
        while not stop.is_set():
            with (
                contextlib.suppress(WaitEnded),
                lease.held(_WORKER, _say_waiting, stop.is_set),
            ):
                store.runs.abandon(clock())
                _Shift(folder, clock, stop, lease).keep()


@contextmanager
def stopped_by_signals(stop: threading.Event) -> Iterator[None]:
    """Set an event at Ctrl-C and at a polite kill."""

    def told(_number: int, _frame: Any) -> None:
        stop.set()

    kept = {sig: signal.signal(sig, told) for sig in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for sig, handler in kept.items():
            signal.signal(sig, handler)


class _Shift:
    """The jobs while this process has the worker's lease."""

    def __init__(
        self, folder: Path, clock: Callable[[], dt.datetime], stop: threading.Event, lease: Lease
    ) -> None:
        self._folder = folder
        self._clock = clock
        self._stop = stop
        self._lease = lease
        self._site = load_site(folder)
        self._busy = threading.Lock()
        # Whatever lateness: the rota decides what is made up and enters what is not, the scheduler would
        # drop it without a word. At most one run of a job, and one of several that are due (coalesce).
        self._scheduler = BackgroundScheduler(
            jobstores={"default": MemoryJobStore()},
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            timezone=dt.UTC,
        )

    def keep(self) -> None:
        """Run jobs as they are due until told to stop or the lease is lost."""
        log = structlog.get_logger()
        self._scheduler.start()
        log.info("worker begins", site=self._site.site.name, pid=os.getpid())
        try:
            self._watch()
        except LeaseLost as lost:
            log.warning("worker pauses", why=str(lost))
        finally:
            self._scheduler.pause()
            is_idle = self._busy.acquire(timeout=_GRACE_S)
            self._scheduler.shutdown(wait=False)
        log.info("worker ends", was_idle=is_idle)
        if not is_idle:
            # A thread cannot be ended from outside; everything it does survives the end of its process.
            os._exit(0)

    def _watch(self) -> None:
        offset = self._offset()
        looked = -math.inf
        while not self._stop.wait(_LOOKS_EVERY_S):
            self._lease.check()
            is_stepped = abs(self._offset() - offset) > _CLOCK_STEP_S
            if is_stepped:
                structlog.get_logger().warning("clock stepped", seconds=round(self._offset() - offset))
                offset = self._offset()
            if is_stepped or time.monotonic() - looked > _ROTA_EVERY_S:
                looked = time.monotonic()
                self._hang_up_rota()

    def _offset(self) -> float:
        """Return the wall clock less one that nobody can set: it moves when the wall clock is set."""
        return self._clock().timestamp() - time.monotonic()

    def _hang_up_rota(self) -> None:
        """Give every job its next turn: at the start, after a run, after the clock or a file has changed."""
        if not self._busy.acquire(blocking=False):
            return  # after the run that is under way
        try:
            with self._round() as found:
                self._schedule(found)
        except Exception as error:
            structlog.get_logger().error("rota", error=f"{type(error).__name__}: {error}")
        finally:
            self._busy.release()

    def _schedule(self, found: Round, just_run: str = "") -> None:
        turns = found.turns()
        # One whose row could not even be written is due still: not again at once.
        paused = {just_run: self._clock() + _LEAST_PAUSE}
        for job in self._scheduler.get_jobs():
            if job.id not in turns:
                job.remove()
        for place, job in enumerate(found.jobs):
            at = max(turns[job.name].at, paused.get(job.name, turns[job.name].at))
            self._scheduler.add_job(
                self._run,
                PlanTrigger(job.plan),
                args=[job.name],
                id=job.name,
                next_run_time=at + place * _IN_ORDER,
                replace_existing=True,
            )

    def _run(self, name: str) -> None:
        with self._busy:
            if self._stop.is_set():
                return
            try:
                with self._round() as found:
                    turn = found.turns().get(name)
                    if turn is not None and turn.at <= self._clock():
                        found.run(next(job for job in found.jobs if job.name == name), turn)
                    self._schedule(found, name)
            except Stopping:
                return
            except Exception as error:
                # The database is away, or the disk is full: the rota is hung up again in a minute.
                structlog.get_logger().error("run", job=name, outcome="failed", error=str(error))

    @contextmanager
    def _round(self) -> Iterator[Round]:
        try:
            self._site = load_site(self._folder)
        except FaultySite as faulty:
            # The jobs go on as the files last said rightly; the pages and /health tell of the fault.
            structlog.get_logger().error("site faulty", faults=[str(fault) for fault in faulty.faults])
        with open_store(self._site, self._reached, _say_waiting) as store:
            yield Round(self._site, store, self._clock, jobs_of(self._site))

    def _reached(self, _point: str) -> None:
        if self._stop.is_set():
            raise Stopping


def _say_waiting(holder: Holder) -> None:
    structlog.get_logger().info("waits", holder=str(holder))
