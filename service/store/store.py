"""A site's store: its database, its readings, its kept exports, opened together."""

import datetime as dt
import os
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from operator import itemgetter
from types import TracebackType
from typing import Final, Self

import pandas as pd
import sqlalchemy as sa

from config.folder import SiteFolder
from config.secrets import resolve_secrets
from service.failure import WorkFailed
from service.store import faults
from service.store.catalogue import Catalogue
from service.store.database import Database
from service.store.delta_files import DeltaFiles
from service.store.faults import no_fault
from service.store.holding import held_by
from service.store.hours import Hours
from service.store.kept import KeptExports
from service.store.lease import Holder, Lease, Pace
from service.store.passes import Passes
from service.store.readings import Readings
from service.store.runs import Runs
from service.store.tables import generations, passes, touched_days
from service.store.tables_read import TablesRead

STATE_FOLDER: Final = "state"
_WRITING: Final = "writing"
_FANS_AT_ONCE: Final = 200
_UNUSABLE: Final = re.compile(r"[\[\]|^\\\x00-\x1f]|%[0-9A-Fa-f]{2}")  # what the Delta writer cannot handle


class Store:
    """Everything a site remembers. A context manager; made by `open_store`."""

    def __init__(
        self,
        site: SiteFolder,
        reached: Callable[[str], None] = no_fault,
        waiting: Callable[[Holder], None] = lambda _holder: None,
        pace: Pace | None = None,
    ) -> None:
        """Open and migrate.

        `reached` is told of each step of the store protocol, `waiting` of who else is writing when this
        process has to wait.
        """
        self.state_folder = site.path / STATE_FOLDER
        self.state_folder.mkdir(parents=True, exist_ok=True)
        if not os.access(self.state_folder, os.W_OK):  # the database would only say that it does not open
            raise WorkFailed(
                f"{self.state_folder} cannot be written: a read-only disk, or another user's folder"
            )
        self.zone = site.site.zone
        self._readings_address = readings_address(site)
        self.reached = reached
        self._waiting = waiting
        self.database = Database(resolve_secrets(site.site.database, site.path), site.path)
        self.lease = Lease(self.database, self.state_folder, _WRITING, pace)
        self.catalogue = Catalogue(self.database)
        self.kept = KeptExports(self.state_folder / "exports")
        self.runs = Runs(self.database)
        self.passes = Passes(self.database, self.table, reached)
        self.hours = Hours(f"{self._readings_address}/hours", self.lease.confirm)

    def __enter__(self) -> Self:
        """Use the store."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the store."""
        self.close()

    def close(self) -> None:
        """Close every connection."""
        self.database.close()

    @contextmanager
    def writer(self) -> Iterator[sa.Connection]:
        """Hold a short writing transaction on the database."""
        with self.database.writer() as connection:
            yield connection

    @contextmanager
    def reader(self) -> Iterator[sa.Connection]:
        """Hold one consistent view of the database."""
        with self.database.reader() as connection:
            yield connection

    @contextmanager
    def working(self, what: str) -> Iterator[None]:
        """Be the one process that writes to the site, on whatever host; may be nested.

        Waits for who is writing now. Every writing transaction inside is checked to be this process's still.
        """
        with self.lease.held(what, self._waiting):
            yield

    @contextmanager
    def pulling(self) -> Iterator[None]:
        """Be the one process that pulls, with whatever a stopped one left repaired."""
        with self.working("pull"):
            self._repair()
            yield

    def compact(self, keep_files: int = 1) -> tuple[str, ...]:
        """Rewrite the months that are spread over more files than some, one after the other; return them.

        What the readings say does not change. Others wait meanwhile; a stop between months is harmless.
        """
        done: list[str] = []
        with self.pulling():
            done += self.hours.compact(keep_files)
            readings = self.current_readings()
            if readings is None:
                return tuple(done)
            for month, files in readings.table.files_by_month().items():
                if files > keep_files:
                    readings.compact(month)
                    self.reached(faults.MONTH_COMPACTED)
                    done.append(month)
        return tuple(done)

    def vacuum(self, keep_hours: int) -> int:
        """Delete files that newer ones took the place of some hours ago; return how many.

        None of them while a backup reads them: they go the next time.
        """
        with self.working("vacuum"):
            if held_by(self.database, dt.datetime.now(dt.UTC)) is not None:
                return 0
            readings = self.current_readings()
            removed = 0 if readings is None else readings.table.vacuum(keep_hours)
            return removed + self.hours.vacuum(keep_hours)

    def repair(self) -> None:
        """Finish or undo what a stopped process left, unless one is writing right now."""
        if not self._is_left_over():
            return
        with self.lease.tried("repair") as is_mine:
            if is_mine:
                self._repair()

    def _is_left_over(self) -> bool:
        return (
            self.passes.is_one_open() or bool(self.catalogue.in_state("building")) or self.kept.has_partial()
        )

    def _repair(self) -> None:
        self.passes.repair()
        self.kept.clear_partial()
        for unfinished in self.catalogue.in_state("building"):
            self.table(unfinished.folder).table.remove()
            self.catalogue.forget(unfinished)

    def table(self, folder: str) -> Readings:
        """Return the readings of the generation in a folder."""
        return Readings(f"{self._readings_address}/{folder}", self.lease.confirm)

    def table_files(self, folder: str) -> DeltaFiles:
        """Return the files of the readings of the generation in a folder."""
        return DeltaFiles(f"{self._readings_address}/{folder}")

    def current_readings(self) -> Readings | None:
        """Return the readings that hold, None before the first pull."""
        generation = self.catalogue.current()
        return None if generation is None else self.table(generation.folder)

    def remove_retired(self) -> None:
        """Delete the readings of generations that another took the place of, unless a backup reads them."""
        if held_by(self.database, dt.datetime.now(dt.UTC)) is not None:
            return
        for generation in self.catalogue.in_state("retired"):
            self.table(generation.folder).table.remove()

    def read_readings(
        self, fans: Sequence[str], start: dt.datetime, end: dt.datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Return the readings of some fans in [start, end): one row a fan and time, sorted by both.

        Read fans in batches: ten cost hardly more than one. The site's own points are the fan "".
        """
        return self.tables().read_readings(fans, start, end, columns)

    def tables(self) -> TablesRead:
        """Return the readings that hold and the hours, as another process could read them too."""
        generation = self.catalogue.current()
        folder = "none" if generation is None else generation.folder
        return TablesRead(f"{self._readings_address}/{folder}", f"{self._readings_address}/hours")

    def reading_span(self, fans: Sequence[str] | None = None) -> tuple[dt.datetime, dt.datetime] | None:
        """Return the first and last time of any reading, of some fans or of all."""
        readings = self.current_readings()
        return None if readings is None else readings.span(fans)

    def touched_by_fan(
        self, fans: Collection[str], since_pass: int = 0
    ) -> Iterator[tuple[str, list[dt.date]]]:
        """Yield fans with the plant dates that passes after one have touched, both in order.

        Of some of `fans` at a time, in the order of their names: those that none has touched are left out.
        """
        ordered = sorted(set(fans))
        for start in range(0, len(ordered), _FANS_AT_ONCE):
            query = (
                sa.select(touched_days.c.fan, touched_days.c.date)
                .distinct()
                .select_from(touched_days.join(passes).join(generations))
                .where(passes.c.state == "done", passes.c.id > since_pass, generations.c.state != "building")
                .where(touched_days.c.fan.in_(ordered[start : start + _FANS_AT_ONCE]))
                .order_by(touched_days.c.fan, touched_days.c.date)
            )
            with self.reader() as connection:
                rows = connection.execute(query).all()
            for fan, of_fan in groupby(rows, key=itemgetter(0)):
                yield fan, [date for _, date in of_fan]

    def latest_pass(self) -> int:
        """Return the id of the last pass that is done, 0 before the first."""
        query = sa.select(sa.func.max(passes.c.id)).join(generations)
        with self.reader() as connection:
            found = connection.execute(
                query.where(passes.c.state == "done", generations.c.state != "building")
            ).scalar()
        return int(found or 0)


def open_store(
    site: SiteFolder,
    reached: Callable[[str], None] = no_fault,
    waiting: Callable[[Holder], None] = lambda _holder: None,
    pace: Pace | None = None,
) -> Store:
    """Open a site's store: make or migrate its database and repair what a stopped process left."""
    store = Store(site, reached, waiting, pace)
    try:
        store.repair()
    except BaseException:
        store.close()
        raise
    return store


def readings_address(site: SiteFolder) -> str:
    """Return where a site's readings are, as a local path or a URL without an end slash."""
    url, folder = resolve_secrets(site.site.readings, site.path), site.path
    if url.startswith("file://"):
        url = url.removeprefix("file://")
    if "://" in url:
        return url.rstrip("/")
    path = str((folder / url).absolute())
    if _UNUSABLE.search(path):
        raise WorkFailed(
            f"{path}: the tables of readings cannot live under a name with [ ] | ^ \\ or a per cent sign and "
            "two digits; rename the folder, or name another place with `readings` in site.toml"
        )
    return path
