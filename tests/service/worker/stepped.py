"""A service on a stepped clock: the worker's own rota, jobs and store, with time turned by hand.

The harness moves a clock from one minute in which something is due to the next and lets the worker's `Round`
do what is due. Everything beside the clock and the timers is the product itself.
"""

import datetime as dt
import logging
import os
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

import sqlalchemy as sa
import structlog

from config import load_site
from service.failure import WorkFailed
from service.store import Store, open_store
from service.store.lease import Holder, Lease
from service.worker.jobs import jobs_of
from service.worker.running import Round

MINUTE = dt.timedelta(minutes=1)
HOUR = dt.timedelta(hours=1)
QUIET = structlog.make_filtering_bound_logger(logging.CRITICAL)


class Killed(BaseException):
    """The process went away at a named point; nothing of it cleans up."""


class SteppedClock:
    """A clock that stands until it is turned; `offset` by how much it is wrong."""

    def __init__(self, true: dt.datetime) -> None:
        self.true = true
        self.offset = dt.timedelta()

    def __call__(self) -> dt.datetime:
        return self.true + self.offset


class SteppedService:
    """One worker process of a site, started, stopped and killed at will."""

    def __init__(self, folder: Path, clock: SteppedClock) -> None:
        self.folder, self.clock = folder, clock
        self._site = load_site(folder)
        self.runs = 0
        self.not_entered = 0
        self.dies_after: int | None = None  # points of the protocol from now
        self.dies_at: str | None = None  # a point by its name
        self._revived_at: dt.datetime | None = None
        self._open: ExitStack | None = None
        self._store: Store | None = None
        structlog.configure(wrapper_class=QUIET)

    @property
    def is_up(self) -> bool:
        return self._open is not None

    def start(self) -> None:
        self._revived_at = None
        stack = ExitStack()
        self._site = load_site(self.folder)
        self._store = stack.enter_context(open_store(self._site, self._reached))
        guard = stack.enter_context(open_store(self._site))
        lease = Lease(guard.database, guard.state_folder, "worker")
        stack.enter_context(lease.held("worker", _nobody))
        self._store.runs.abandon(self.clock())
        self._open = stack

    def stop(self) -> None:
        self._revived_at = None
        if self._open is not None:
            self._open.close()
        self._open = self._store = None

    def turned(self) -> None:
        """Hear that the clock was turned."""

    def second_worker_gets_in(self) -> bool:
        """Try to start another worker of the site, as someone might by mistake."""
        with open_store(load_site(self.folder)) as store:
            lease = Lease(store.database, store.state_folder, "worker")
            with lease.tried("a second worker") as is_let_in:
                return is_let_in

    def run_until(self, until: dt.datetime) -> None:
        """Turn the clock to a true time, minute by minute where something is due."""
        while self.clock.true < until:
            if self._revived_at is not None and self._revived_at <= self.clock.true:
                self.start()
            if self.is_up:
                self._run_due()
            self.clock.true = min(max(self._next_turn(), self.clock.true + MINUTE), until)
            self.turned()

    def _run_due(self) -> None:
        try:
            self.runs += len(self._round().run_due())
        except Killed:
            self.stop()
            self._revived_at = self.clock.true + HOUR  # as whoever looks after the machine would
        except (sa.exc.SQLAlchemyError, WorkFailed, OSError):
            self.not_entered += 1  # the disk is full: not even the turn could be written

    def _next_turn(self) -> dt.datetime:
        if not self.is_up:
            return self._revived_at or self.clock.true + 1_000_000 * MINUTE
        try:
            soonest = min(turn.at for turn in self._round().turns().values())
        except (sa.exc.SQLAlchemyError, WorkFailed, OSError):
            return self.clock.true + MINUTE
        if soonest <= self.clock():
            self.not_entered += 1  # due still after its turn: not even the run's row could be written
        return soonest - self.clock.offset

    def _round(self) -> Round:
        assert self._store is not None
        return Round(self._site, self._store, self.clock, jobs_of(self._site))

    def _reached(self, point: str) -> None:
        if point == self.dies_at:
            self.dies_at = None
            raise Killed
        if self.dies_after is None:
            return
        self.dies_after -= 1
        if self.dies_after < 0:
            self.dies_after = None
            raise Killed


class Landings:
    """Exports that land in the drop at given times, and are cleared away after some days."""

    def __init__(self, drop: Path, files: Sequence[tuple[dt.datetime, str, str]], kept_days: int) -> None:
        self.drop = drop
        self._waiting = sorted(files)
        self._kept = dt.timedelta(days=kept_days)
        self._landed: list[tuple[dt.datetime, str]] = []

    @property
    def next_at(self) -> dt.datetime | None:
        return self._waiting[0][0] if self._waiting else None

    def land(self, now: dt.datetime) -> None:
        """Put down what is due and clear what is old."""
        while self._waiting and self._waiting[0][0] <= now:
            at, name, content = self._waiting.pop(0)
            path = self.drop / name
            if not path.exists():  # landed before a kill
                path.write_text(content)
                os.utime(path, (at.timestamp(), at.timestamp()))
            self._landed.append((at, name))
        for at, name in [one for one in self._landed if one[0] + self._kept < now]:
            (self.drop / name).unlink(missing_ok=True)
            self._landed.remove((at, name))


def play(
    service: SteppedService,
    landings: Landings,
    acts: Sequence[tuple[dt.datetime, Callable[[], None]]],
    until: dt.datetime,
) -> None:
    """Run a service to a time, with exports landing and acts played at theirs."""
    script = sorted(acts, key=lambda act: act[0])
    while service.clock.true < until:
        while script and script[0][0] <= service.clock.true:
            script.pop(0)[1]()
        landings.land(service.clock.true)
        stops = [until, *(act[0] for act in script[:1])]
        if landings.next_at is not None:
            stops.append(landings.next_at)
        service.run_until(min(stops))


def _nobody(holder: Holder) -> None:
    raise AssertionError(f"another worker runs the site: {holder}")
