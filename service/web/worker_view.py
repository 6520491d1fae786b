"""What runs by itself: each job, its age and errors; the latest runs, who writes, what waits to go out."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from service.store.outbox import Queue, queue
from service.store.runs import Heartbeat, Run, read_heartbeats
from service.store.worker_tables import leases
from service.web.desk import Desk

_RUNS: Final = 60
WORKER: Final = "worker"


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job and how long ago it was last done."""

    beat: Heartbeat
    age: dt.timedelta | None
    is_late: bool


@dataclass(frozen=True, slots=True)
class WorkerPage:
    """All of the worker's page; `is_there` whether a worker holds its lease, `writing` what is being done."""

    jobs: tuple[JobLine, ...]
    runs: tuple[Run, ...]
    waiting: Queue
    is_there: bool
    writing: str


def worker_page(desk: Desk) -> WorkerPage:
    """Read what the worker has left behind."""
    now = desk.clock()
    with desk.store.reader() as connection:
        beats = read_heartbeats(connection)
        waiting = queue(connection)
        held = {row.name: row.what for row in connection.execute(sa.select(leases).where(leases.c.is_held))}
    return WorkerPage(
        tuple(
            JobLine(beat, None if beat.done is None else now - beat.done, beat.is_late(now)) for beat in beats
        ),
        tuple(desk.store.runs.latest(_RUNS)),
        waiting,
        WORKER in held,
        held.get("writing", ""),
    )
