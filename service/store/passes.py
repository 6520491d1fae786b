"""The one way a pass reaches the disk, and how start-up repairs one that was stopped on the way."""

import datetime as dt
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import sqlalchemy as sa

from service.store import faults
from service.store.columns import READINGS_SCHEMA
from service.store.database import Database
from service.store.readings import Readings
from service.store.tables import generations, intake, passes, points_seen, refusals, touched_days

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Generation:
    """One derivation of the readings from the kept exports under one set of reading settings."""

    id: int
    folder: str
    settings_digest: str


@dataclass(frozen=True, slots=True)
class PassRows:
    """All that one pass writes: readings for the Delta table and the ledger rows that go with them."""

    readings: pa.RecordBatchReader | None
    intake: Sequence[Row] = ()
    refusals: Sequence[Row] = ()
    touched_days: Sequence[Row] = ()
    points_seen: Sequence[Row] = ()


class Passes:
    """Writes passes in the order that survives being stopped anywhere.

    The exports are kept already. Then (2) the pass and all its ledger rows go to SQL as intended,
    (3) one Delta commit carries the pass's id as its marker, (4) the pass is marked done. Rows of a pass that
    is not done are shown to nobody.
    """

    def __init__(
        self, database: Database, table_of: Callable[[str], Readings], reached: Callable[[str], None]
    ) -> None:
        """Write to a database and to the tables named by their generation's folder."""
        self._database = database
        self._table_of = table_of
        self._reached = reached

    def write(self, generation: Generation, started: dt.datetime, rows: PassRows) -> int:
        """Write one pass through to done and return its id."""
        pass_id = self._intend(generation, started, rows)
        self._reached(faults.PASS_INTENDED)
        if rows.readings is not None:
            self._table_of(generation.folder).table.append(rows.readings, pass_id)
            self._reached(faults.DELTA_COMMITTED)
        self._finish(pass_id, started)
        self._reached(faults.PASS_DONE)
        return pass_id

    def is_one_open(self) -> bool:
        """Tell whether a pass is under way, or was stopped on its way."""
        with self._database.reader() as connection:
            found = connection.execute(sa.select(passes.c.id).where(passes.c.state != "done").limit(1))
            return found.first() is not None

    def repair(self) -> None:
        """Take every pass that was stopped to its end, or to before its beginning.

        A pass whose commit is in the Delta log is marked done: its ledger rows are there. One whose commit is
        not has its rows taken back; its exports are kept, unread, and the next pull reads them. A process
        that slept meanwhile, and not died, cannot make that commit any more.
        """
        with self._database.reader() as connection:
            begun = connection.execute(
                sa.select(passes.c.id, passes.c.started, passes.c.has_readings, generations.c.folder)
                .join(generations)
                .where(passes.c.state != "done")
                .order_by(passes.c.id)
            ).all()
        for stopped in begun:
            table = self._table_of(stopped.folder).table
            if stopped.has_readings and not table.is_in_for_good(stopped.id, READINGS_SCHEMA):
                with self._database.writer() as connection:
                    connection.execute(sa.delete(passes).where(passes.c.id == stopped.id))
            else:
                self._finish(stopped.id, stopped.started)

    def _intend(self, generation: Generation, started: dt.datetime, rows: PassRows) -> int:
        with self._database.writer() as connection:
            given = connection.execute(
                sa.insert(passes).values(
                    marker=uuid.uuid4().hex,
                    generation_id=generation.id,
                    settings_digest=generation.settings_digest,
                    state="intended",
                    has_readings=rows.readings is not None,
                    started=started,
                )
            ).inserted_primary_key
            assert given is not None
            pass_id = int(given[0])
            for table, ledger in (
                (intake, rows.intake),
                (refusals, rows.refusals),
                (touched_days, rows.touched_days),
                (points_seen, rows.points_seen),
            ):
                if ledger:
                    connection.execute(sa.insert(table), [{**row, "pass_id": pass_id} for row in ledger])
        return pass_id

    def _finish(self, pass_id: int, finished: dt.datetime) -> None:
        with self._database.writer() as connection:
            connection.execute(
                sa.update(passes).where(passes.c.id == pass_id).values(state="done", finished=finished)
            )
