"""Who may write to a site: one process at a time on whatever host, by a lease it renews while it works."""

import contextlib
import datetime as dt
import hashlib
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from filelock import FileLock, Timeout

from service.failure import WorkFailed
from service.store.database import Database
from service.store.worker_tables import leases

_ENDS_WITHIN_S: Final = 10.0
_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")


class LeaseLost(WorkFailed):
    """The lease went to another process: nothing more may be written under it."""


class WaitEnded(WorkFailed):
    """Whoever waited for a lease was told to stop."""


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds a lease: host and process, at what, since when."""

    host: str
    pid: int
    what: str
    since: dt.datetime

    def __str__(self) -> str:
        return f"{self.what} by process {self.pid} on {self.host}, since {self.since:%Y-%m-%d %H:%M:%S} UTC"


@dataclass(frozen=True, slots=True)
class Pace:
    """How a lease keeps time, by a clock that no one can set: waited for, renewed, given up for lost."""

    poll_s: float = 0.25
    renew_s: float = 10.0
    lost_after_s: float = 60.0
    patience_s: float = 600.0
    monotonic: Callable[[], float] = time.monotonic


@dataclass(frozen=True, slots=True)
class _Taken:
    """By whom a lease is taken, as far as its row says yet, and the mark that moves while it is renewed."""

    holder: Holder | None
    mark: tuple[int, int]

    @classmethod
    def of(cls, row: Any) -> "_Taken":
        """Read a row of the table; there is none before the first lease."""
        if row is None:
            return cls(None, (0, 0))
        holder = Holder(row.host, row.pid, row.what, row.since) if row.is_held else None
        return cls(holder, (row.generation, row.beats))


class Lease:
    """One named lease on a site, for one thread; may be taken again by who holds it.

    Two locks, because each knows what the other cannot. The row in the database counts on every host; it
    is lost when its beats stand still for a minute by the waiter's own monotonic clock, so that no two
    clocks are ever compared. The lock file below it counts among the processes that share the state
    folder and ends with its process, however that ends: whoever has it may take a row that was left by
    the same machine at once, and a kill -9 costs nobody a minute.

    A writer is checked in the transaction that writes (`Database.writer`): the row must still carry the
    generation this lease was taken with.
    """

    def __init__(self, database: Database, folder: Path, name: str, pace: Pace | None = None) -> None:
        """Name a lease; its lock file lies in the state folder."""
        self._database = database
        self._name = name
        self._pace = pace or Pace()
        self._file = FileLock(folder / f"{name}.lock")
        self._place = _place(folder)
        self._depth = 0
        self._generation = 0
        self._renewed = 0.0
        self._is_lost = False
        self._given_back = threading.Event()
        self._renewing: threading.Thread | None = None

    @contextmanager
    def held(
        self, what: str, waiting: Callable[[Holder], None], stop: Callable[[], bool] = lambda: False
    ) -> Iterator[None]:
        """Hold the lease; wait for whoever has it, told once to `waiting`, and fail when patience ends."""
        self._wait_for(what, waiting, stop)
        try:
            yield
        finally:
            self._give_back()

    @contextmanager
    def tried(self, what: str) -> Iterator[bool]:
        """Hold the lease if it is free right now, and say whether it is."""
        is_mine = self._take(what) is None
        try:
            yield is_mine
        finally:
            if is_mine:
                self._give_back()

    def check(self) -> None:
        """Raise LeaseLost unless the lease is still held as far as this process can know."""
        if self._is_lost or self._pace.monotonic() - self._renewed > self._pace.lost_after_s:
            raise LeaseLost(
                f"the lease {self._name!r} of this process was taken over after a minute without a renewal; "
                "what it had not written is done again by who has it now"
            )

    def confirm(self) -> None:
        """Ask the database whether the lease, where it was taken, is still held; raise LeaseLost if not."""
        with self._database.writer():
            pass  # renewed at its beginning

    def holder(self) -> Holder | None:
        """Return who holds the lease, None where it is free."""
        with self._database.reader() as connection:
            return _Taken.of(connection.execute(self._row()).one_or_none()).holder

    def _wait_for(self, what: str, waiting: Callable[[Holder], None], stop: Callable[[], bool]) -> None:
        begun = self._pace.monotonic()
        seen: tuple[int, int] | None = None
        seen_at = begun
        is_said = False
        while True:
            is_silent = self._pace.monotonic() - seen_at > self._pace.lost_after_s
            taken = self._take(what, silent=seen if is_silent else None)
            if taken is None:
                return
            if taken.holder is not None and not is_said:
                waiting(taken.holder)
                is_said = True
            if taken.mark != seen:
                seen, seen_at = taken.mark, self._pace.monotonic()
            if stop():
                raise WaitEnded(f"told to stop while waiting for {taken.holder}")
            if self._pace.monotonic() - begun > self._pace.patience_s:
                raise WorkFailed(
                    f"waited {self._pace.patience_s:.0f} s for {taken.holder or 'another process'}; "
                    "wait for it or stop it, then run this again"
                )
            time.sleep(self._pace.poll_s)

    def _take(self, what: str, silent: tuple[int, int] | None = None) -> "_Taken | None":
        """Take the lease and return None, or return by whom it is taken.

        `silent` the generation and beats that have not moved for as long as it takes to be lost.
        """
        if self._depth:
            self.check()
            self._depth += 1
            return None
        try:
            self._file.acquire(blocking=False)
        except Timeout:
            with self._database.reader() as connection:
                return _Taken.of(connection.execute(self._row()).one_or_none())
        try:
            taken = self._take_row(what, silent)
        except BaseException:
            self._file.release()
            raise
        if taken is not None:
            self._file.release()
            return taken
        self._begin()
        return None

    def _take_row(self, what: str, silent: tuple[int, int] | None) -> "_Taken | None":
        mine = {
            "is_held": True,
            "host": socket.gethostname(),
            "pid": os.getpid(),
            "place": self._place,
            "what": what,
            "since": dt.datetime.now(dt.UTC),
        }
        with self._database.unchecked_writer() as connection:
            row = connection.execute(self._row().with_for_update()).one_or_none()
            if row is None:
                first = {"name": self._name, "generation": 1, "beats": 0, **mine}
                try:
                    with connection.begin_nested():
                        connection.execute(sa.insert(leases).values(first))
                except sa.exc.IntegrityError:  # another host was quicker
                    return _Taken(None, (0, 0))
                self._generation = 1
                return None
            is_left = row.place == self._place or (row.generation, row.beats) == silent
            if row.is_held and not is_left:
                return _Taken.of(row)
            self._generation = row.generation + 1
            values = {**mine, "generation": self._generation, "beats": 0}
            connection.execute(sa.update(leases).where(leases.c.name == self._name).values(values))
        return None

    def _begin(self) -> None:
        self._depth = 1
        self._is_lost = False
        self._renewed = self._pace.monotonic()
        self._given_back = threading.Event()
        self._database.check_writers_by(self._renew_in)
        name = f"lease {self._name}"
        self._renewing = threading.Thread(
            target=self._keep_renewing, args=[self._given_back], name=name, daemon=True
        )
        self._renewing.start()

    def _give_back(self) -> None:
        self._depth -= 1
        if self._depth:
            return
        self._given_back.set()
        if self._renewing is not None:  # else its connection is still out when the database is closed
            self._renewing.join(_ENDS_WITHIN_S)
        self._database.check_writers_by(None)
        mine = (leases.c.name == self._name) & (leases.c.generation == self._generation)
        try:
            # Not given back, the row is found to be left by this place, or silent.
            with contextlib.suppress(sa.exc.SQLAlchemyError), self._database.unchecked_writer() as connection:
                connection.execute(sa.update(leases).where(mine).values(is_held=False))
        finally:
            self._file.release()

    def _keep_renewing(self, given_back: threading.Event) -> None:
        while not given_back.wait(self._pace.renew_s):
            # A database that does not answer is asked again; `check` knows when it has been too long.
            with (
                contextlib.suppress(sa.exc.SQLAlchemyError, LeaseLost),
                self._database.unchecked_writer() as connection,
            ):
                self._renew_in(connection)

    def _renew_in(self, connection: sa.Connection) -> None:
        """Renew the lease in a transaction, which holds its row to the end; raise LeaseLost if it is lost."""
        mine = (leases.c.name == self._name) & (leases.c.generation == self._generation) & leases.c.is_held
        renewed = sa.update(leases).where(mine).values(beats=leases.c.beats + 1)
        if connection.execute(renewed).rowcount != 1:
            self._is_lost = True
        else:
            self._renewed = self._pace.monotonic()
        self.check()

    def _row(self) -> sa.Select[Any]:
        return sa.select(leases).where(leases.c.name == self._name)


def _place(folder: Path) -> str:
    """Name this machine since its start, and the folder: who shares it, shares the lock file."""
    status = folder.stat()
    boot = _BOOT_ID.read_text() if _BOOT_ID.exists() else ""
    told = f"{socket.gethostname()}|{boot}|{status.st_dev}|{status.st_ino}"
    return hashlib.sha256(told.encode()).hexdigest()
