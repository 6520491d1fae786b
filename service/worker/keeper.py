"""Keeps a worker process alive beside the pages, and tells people when its jobs are late."""

import datetime as dt
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import structlog

from config import load_site
from service.mail.delivering import deliver
from service.store import open_store
from service.worker.lateness import tell_of_late_jobs

ENDS_WITH_STDIN: Final = "SLIPLEDGER_ENDS_WITH_STDIN"
_START: Final = "from service.command_line import main; main()"
_FIRST_PAUSE_S: Final = 1.0
_LONGEST_PAUSE_S: Final = 60.0
_LIVED_S: Final = 60.0  # one that lived so long is started again at once
_WATCH_EVERY_S: Final = 300.0
_STDIN: Final = 0
_LOOKS_EVERY_S: Final = 0.5
_GRACE_S: Final = 5.0


class WorkerKeeper:
    """A worker process of its own for as long as the context lasts; started again whenever it ends.

    Its standard input is a pipe that nobody writes to: when this process goes away, however it goes, the
    pipe ends and with it the worker.
    """

    def __init__(self, folder: Path, clock: Callable[[], dt.datetime]) -> None:
        """Keep the worker of a site."""
        self._folder = folder
        self._clock = clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._keep, name="worker keeper", daemon=True)
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        """Start the worker."""
        self._process = self._started()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the worker: politely, then at once."""
        self.end()
        self._thread.join()
        process = self._process
        if process is None:
            return
        process.terminate()  # one that was started a moment ago
        try:
            process.wait(_GRACE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdin is not None:
            process.stdin.close()

    def end(self) -> None:
        """Tell the worker to end, and do not wait for it."""
        self._stop.set()
        if self._process is not None:
            self._process.terminate()

    def _started(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-c", _START, "serve", str(self._folder), "--only", "worker"],
            stdin=subprocess.PIPE,
            env={**os.environ, ENDS_WITH_STDIN: "1"},
        )

    def _keep(self) -> None:
        pause = _FIRST_PAUSE_S
        begun = watched = time.monotonic()
        while not self._stop.wait(_LOOKS_EVERY_S):
            if time.monotonic() - watched > _WATCH_EVERY_S:
                watched = time.monotonic()
                self._watch()
            code = None if self._process is None else self._process.poll()
            if code is None:
                continue
            pause = (
                _FIRST_PAUSE_S if time.monotonic() - begun > _LIVED_S else min(2 * pause, _LONGEST_PAUSE_S)
            )
            structlog.get_logger().error("worker ended by itself", code=code, started_again_in_s=pause)
            if self._stop.wait(pause):
                return
            begun = time.monotonic()
            self._process = self._started()

    def _watch(self) -> None:
        """Tell of late jobs from outside the worker: one that hangs or cannot start tells nobody."""
        try:
            site = load_site(self._folder)
            with open_store(site) as store:
                now = self._clock()
                if tell_of_late_jobs(site, store, self._clock, now):
                    deliver(store, site, now)
        except Exception as error:  # the watch must outlive whatever is wrong
            structlog.get_logger().error("watch", error=f"{type(error).__name__}: {error}")


def end_with_stdin(told: Callable[[], None]) -> None:
    """Call back when the standard input ends, where the process that keeps this one asked for it."""
    if not os.environ.get(ENDS_WITH_STDIN):
        return

    def wait() -> None:
        # Not through sys.stdin: its lock would be held when the interpreter ends.
        while os.read(_STDIN, 1):
            pass
        told()

    threading.Thread(target=wait, name="lifeline", daemon=True).start()
