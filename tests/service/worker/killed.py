"""A stepped service in a process of its own, which dies without any cleaning up where it is told to."""

import datetime as dt
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import sqlalchemy as sa

from service.store.database import Database
from tests.service.worker.hall import Hall, Story
from tests.service.worker.stepped import MINUTE, Landings, SteppedClock, SteppedService, play

STORY: Final = Story(dt.date(2025, 1, 6), 52, 60, slip_day=41.0, lost_day=47.43, healthy_days=25)
DIED: Final = 9
ANY: Final = "any"


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
                os._exit(DIED)

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


def drive(hall: Hall, until: dt.datetime, point: str, count: int) -> None:
    """Go on from where the clock stands, a minute later."""
    folder = hall.folder
    clock = SteppedClock(remembered(folder) + MINUTE)
    service = Doomed(folder, clock, point, count)
    watch_writers(service)
    service.start()
    play(service, Landings(folder / "drop", hall.exports(), kept_days=400), [], until)
    service.stop()


def main(arguments: list[str]) -> None:
    folder, until, point, count = arguments
    hall = Hall(Path(folder), STORY)
    drive(hall, dt.datetime.fromisoformat(until), point, int(count))


if __name__ == "__main__":
    main(sys.argv[1:])
