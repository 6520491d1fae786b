"""What the worker did and when each job is late: its runs, and a heartbeat a job."""

import datetime as dt
import os
import socket
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import sqlalchemy as sa

from service.store.database import Database
from service.store.worker_tables import heartbeats, job_runs

_LONGEST_ERROR: Final = 2000


class RunOutcome(StrEnum):
    """How a run ended; `missed` it never began, `abandoned` its process went away under it."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    MISSED = "missed"
    ABANDONED = "abandoned"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """A job: the last time it was due and seen to, how its last run went, from when on it is late."""

    job: str
    due: dt.datetime
    started: dt.datetime | None
    done: dt.datetime | None
    outcome: RunOutcome | None
    error: str | None
    failures: int
    late_at: dt.datetime

    @property
    def why_failed(self) -> str | None:
        """What its last run failed of, None where it did not."""
        return self.error if self.outcome is RunOutcome.FAILED else None

    def is_late(self, now: dt.datetime) -> bool:
        """Tell whether it should have been done by now."""
        return now > self.late_at


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a job."""

    id: int
    job: str
    due: dt.datetime
    started: dt.datetime
    ended: dt.datetime | None
    outcome: RunOutcome
    error: str | None
    counts: Mapping[str, Any]
    has_worked: bool
    host: str
    pid: int


class Runs:
    """The runs and heartbeats in a database."""

    def __init__(self, database: Database) -> None:
        """Keep them in a database."""
        self._database = database

    def begin(self, job: str, due: dt.datetime, now: dt.datetime) -> int:
        """Enter a run before it acts and return its id; one of before that never ended was abandoned."""
        left = (job_runs.c.job == job) & (job_runs.c.outcome == RunOutcome.RUNNING.value)
        with self._database.writer() as connection:
            abandoned = {"outcome": RunOutcome.ABANDONED.value, "ended": now}
            connection.execute(sa.update(job_runs).where(left).values(abandoned))
            run_id = _entered(connection, job, due, now, RunOutcome.RUNNING)
            beat = {"started": now, "outcome": RunOutcome.RUNNING.value}
            connection.execute(sa.update(heartbeats).where(heartbeats.c.job == job).values(beat))
        return run_id

    def end(
        self,
        run_id: int,
        now: dt.datetime,
        outcome: RunOutcome,
        *,
        error: str | None = None,
        counts: Mapping[str, Any] | None = None,
        late_at: dt.datetime,
    ) -> None:
        """Complete a run's row and its job's heartbeat, which moves on only when the work was done."""
        said = None if error is None else error[:_LONGEST_ERROR]
        told = dict(counts or {})
        ended: dict[str, Any] = {"ended": now, "outcome": outcome.value, "error": said, "counts": told}
        ended["has_worked"] = any(told.values())
        with self._database.writer() as connection:
            run = connection.execute(
                sa.select(job_runs.c.job, job_runs.c.due).where(job_runs.c.id == run_id)
            ).one()
            connection.execute(sa.update(job_runs).where(job_runs.c.id == run_id).values(ended))
            beat: dict[str, Any] = {"outcome": outcome.value, "error": said}
            if outcome is RunOutcome.DONE:
                beat |= {"due": run.due, "done": now, "failures": 0, "late_at": late_at}
            elif outcome is RunOutcome.FAILED:
                beat["failures"] = heartbeats.c.failures + 1
            connection.execute(sa.update(heartbeats).where(heartbeats.c.job == run.job).values(beat))

    def miss(self, job: str, due: dt.datetime, now: dt.datetime, why: str) -> None:
        """Enter that a job was not run when it was due and will not be made up."""
        with self._database.writer() as connection:
            run_id = _entered(connection, job, due, now, RunOutcome.MISSED)
            connection.execute(
                sa.update(job_runs).where(job_runs.c.id == run_id).values(ended=now, error=why)
            )
            beat = {"due": due, "failures": 0}
            connection.execute(sa.update(heartbeats).where(heartbeats.c.job == job).values(beat))

    def meet(self, job: str, due: dt.datetime, late_at: dt.datetime) -> None:
        """Begin a job's heartbeat; `due` the last time that counts as seen to."""
        with self._database.writer() as connection:
            values = {"job": job, "due": due, "failures": 0, "late_at": late_at}
            connection.execute(sa.insert(heartbeats).values(values))

    def put_back(self, job: str, due: dt.datetime, late_at: dt.datetime) -> None:
        """Count a job as seen to until an earlier time: its heartbeat came from a clock that ran ahead."""
        with self._database.writer() as connection:
            beat = {"due": due, "late_at": late_at}
            connection.execute(sa.update(heartbeats).where(heartbeats.c.job == job).values(beat))

    def abandon(self, now: dt.datetime) -> None:
        """Close the rows of runs whose process went away; only who holds the worker's lease may say so."""
        with self._database.writer() as connection:
            for table, ended in ((job_runs, {"ended": now}), (heartbeats, {})):
                is_open = table.c.outcome == RunOutcome.RUNNING.value
                values: dict[str, Any] = {"outcome": RunOutcome.ABANDONED.value, **ended}
                connection.execute(sa.update(table).where(is_open).values(values))

    def forget(self, known: Collection[str], before: dt.datetime, idle_before: dt.datetime) -> int:
        """Drop the heartbeats of jobs there are no longer, and old runs; return how many.

        Runs that found nothing to do go sooner: the outbox is looked into every minute.
        """
        with self._database.writer() as connection:
            connection.execute(sa.delete(heartbeats).where(heartbeats.c.job.not_in(list(known))))
            gone = connection.execute(sa.delete(job_runs).where(job_runs.c.started < before))
            is_idle = (job_runs.c.outcome == RunOutcome.DONE.value) & ~job_runs.c.has_worked
            idle = connection.execute(sa.delete(job_runs).where(is_idle, job_runs.c.started < idle_before))
        return gone.rowcount + idle.rowcount

    def beats(self) -> dict[str, Heartbeat]:
        """Return every job's heartbeat."""
        with self._database.reader() as connection:
            return {beat.job: beat for beat in read_heartbeats(connection)}

    def latest(self, limit: int, job: str | None = None) -> list[Run]:
        """Return the latest runs, the newest first."""
        query = sa.select(job_runs).order_by(job_runs.c.started.desc(), job_runs.c.id.desc()).limit(limit)
        if job is not None:
            query = query.where(job_runs.c.job == job)
        with self._database.reader() as connection:
            rows = [dict(row._mapping) for row in connection.execute(query)]
        return [Run(**{**row, "outcome": RunOutcome(row["outcome"])}) for row in rows]


def read_heartbeats(connection: sa.Connection) -> Sequence[Heartbeat]:
    """Return every job's heartbeat, in order of name."""
    rows = connection.execute(sa.select(heartbeats).order_by(heartbeats.c.job)).all()
    return [
        Heartbeat(**{**row._mapping, "outcome": None if row.outcome is None else RunOutcome(row.outcome)})
        for row in rows
    ]


def _entered(
    connection: sa.Connection, job: str, due: dt.datetime, now: dt.datetime, outcome: RunOutcome
) -> int:
    given = connection.execute(
        sa.insert(job_runs).values(
            job=job,
            due=due,
            started=now,
            outcome=outcome.value,
            counts={},
            has_worked=False,
            host=socket.gethostname(),
            pid=os.getpid(),
        )
    ).inserted_primary_key
    assert given is not None
    return int(given[0])
