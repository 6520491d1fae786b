"""A stepped service in processes that are killed where they are told to, and the mother that forks them.

A kill costs no start of Python: the mother has loaded everything and drawn the exports, opened nothing, and
forks a child for each life. A child kills itself at a named point, at the n-th of all points, or is killed by
its mother once it has used so much processor time, wherever it then is.
"""

import datetime as dt
import json
import os
import signal
import subprocess
import sys
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import psutil
import sqlalchemy as sa

from service.store.database import Database
from tests.service.worker.hall import Hall, Story
from tests.service.worker.stepped import MINUTE, Landings, SteppedClock, SteppedService, play

STORY: Final = Story(dt.date(2025, 1, 6), 52, 60, slip_day=41.0, lost_day=47.43, healthy_days=25)
ANY: Final = "any point"
MOMENT: Final = "any moment"  # the count is milliseconds of processor time
NEVER: Final = "never"
LIVED: Final = 0
ROOT: Final = Path(__file__).parents[3]
_LOOKS_EVERY_S: Final = 0.005


class Mother:
    """The process that forks the lives. A context manager."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        command = [sys.executable, "-m", "tests.service.worker.killed"]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        self._process = subprocess.Popen(command, cwd=ROOT, text=True, **pipes)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process is not None
        self._process.communicate()  # closes its standard input, at which it ends

    def is_survived(self, folder: Path, until: dt.datetime, point: str, count: int) -> bool:
        """Let a process go on with a site and die as told; tell whether it came to the end instead."""
        assert self._process is not None
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps([str(folder), until.isoformat(), point, count]) + "\n")
        self._process.stdin.flush()
        code = int(self._process.stdout.readline())
        assert code in (LIVED, -signal.SIGKILL), "it ended of itself, see its error above"
        return code == LIVED


class Doomed(SteppedService):
    """Dies at the n-th point with a name, or at the n-th of all; remembers how far its clock got."""

    def __init__(self, folder: Path, clock: SteppedClock, point: str, count: int) -> None:
        super().__init__(folder, clock)
        self._point, self._left = point, count

    def turned(self) -> None:
        remember(self.folder, self.clock.true)

    def reach(self, point: str) -> None:
        if self._point in (ANY, point):
            self._left -= 1
            if self._left < 0:
                os.kill(os.getpid(), signal.SIGKILL)

    def _reached(self, point: str) -> None:
        self.reach(point)


def remember(folder: Path, now: dt.datetime) -> None:
    """Write down the true time, as a clock on the wall would know it after a power cut."""
    beside = folder / "clock.partial"
    beside.write_text(now.isoformat())
    beside.replace(folder / "clock")


def remembered(folder: Path) -> dt.datetime:
    return dt.datetime.fromisoformat((folder / "clock").read_text())


def watch_writers(service: Doomed) -> None:
    """Make every writing transaction a point: before it begins, before it is committed, and after."""
    whole = Database.writer

    @contextmanager
    def watched(self: Database) -> Iterator[sa.Connection]:
        service.reach("before a write")
        with whole(self) as connection:
            yield connection
            service.reach("before a commit")
        service.reach("after a commit")

    Database.writer = watched  # type: ignore[method-assign]


def go_on(folder: Path, until: dt.datetime, point: str, count: int) -> None:
    """Go on from where the clock stands, a minute later."""
    clock = SteppedClock(remembered(folder) + MINUTE)
    service = Doomed(folder, clock, point, count)
    watch_writers(service)
    service.start()
    play(service, Landings(folder / "drop", _exports(folder.parent), kept_days=400), [], until)
    service.stop()


@cache
def _exports(beside: Path) -> list[tuple[dt.datetime, str, str]]:
    """Return what lands at each of the copies of a hall in one folder: the same at all of them."""
    some = next(path.parent for path in beside.glob("*/site.toml"))
    return Hall(some, STORY).exports()


def _forked(folder: Path, until: dt.datetime, point: str, count: int) -> int:
    _exports(folder.parent)  # drawn before the first fork, once for all
    child = os.fork()
    if not child:
        code = 1
        try:
            go_on(folder, until, point, count)
            code = LIVED
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    if point == MOMENT:
        _kill_when_used(child, count / 1000)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _kill_when_used(child: int, seconds: float) -> None:
    process = psutil.Process(child)
    while process.status() != psutil.STATUS_ZOMBIE:
        used = process.cpu_times()
        if used.user + used.system >= seconds:
            process.kill()
            return
        time.sleep(_LOOKS_EVERY_S)


def main() -> None:
    """Fork a life for every line of standard input; say how each ended."""
    for line in sys.stdin:
        folder, until, point, count = json.loads(line)
        print(_forked(Path(folder), dt.datetime.fromisoformat(until), point, count), flush=True)


if __name__ == "__main__":
    main()
