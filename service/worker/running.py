"""One run of a job: under the lease, with its row before and after, and one line in the log."""

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
import structlog

from config import FaultySite
from config.folder import SiteFolder
from config.secrets import MissingSecret
from service.failure import WorkFailed
from service.store.runs import Heartbeat, RunOutcome
from service.store.store import Store
from service.worker.jobs import Clock, Job
from service.worker.rota import Turn, first_heartbeat, is_ahead, turn_of

_COLOUR: Final = re.compile(r"\x1b\[[0-9;]*m")


class Stopping(Exception):  # noqa: N818 - named for what it says
    """The worker was told to stop: the job ends at this point and is taken up again after the next start."""


@dataclass(frozen=True, slots=True)
class Round:
    """What a round works with: the site as its files say, its store, the clock, the jobs there are."""

    site: SiteFolder
    store: Store
    clock: Clock
    jobs: Sequence[Job]

    def turns(self) -> dict[str, Turn]:
        """Return every job's next turn; a job met for the first time gets its heartbeat."""
        now = self.clock()
        beats = self._beats(now)
        policy = self.site.site.worker
        return {
            job.name: turn_of(
                job,
                beats[job.name],
                now,
                policy,
                is_wanted=job.is_wanted is not None and job.is_wanted(self.store),
            )
            for job in self.jobs
        }

    def run_due(self, names: Callable[[str], bool] = lambda _name: True) -> list[str]:
        """Run every job whose turn has come, one after the other, and what follows them; name them."""
        ran: list[str] = []
        for job in self.jobs:
            turn = self.turns()[job.name]
            if names(job.name) and turn.at <= self.clock():
                ran += self.run(job, turn)
        return ran

    def run(self, job: Job, turn: Turn) -> list[str]:
        """Run a job and what follows it; whatever it raises is in its row, its heartbeat and the log."""
        if turn.is_missed:
            self._miss(job, turn)
            return []
        try:
            has_worked = self._run_one(job, turn.due)
        except (WorkFailed, OSError, sa.exc.SQLAlchemyError) as error:
            # Not even its row could be written: the database is away, the disk full, the lease lost.
            structlog.get_logger().error("run", job=job.name, outcome="failed", error=sentence_of(error))
            return []
        ran = [job.name]
        for follower in self.jobs:
            if follower.name in job.then and self._is_wanted(follower, has_worked=has_worked):
                ran += self.run(follower, Turn(self.clock(), self.clock()))
        return ran

    def _is_wanted(self, follower: Job, *, has_worked: bool) -> bool:
        return has_worked if follower.is_wanted is None else follower.is_wanted(self.store)

    def _run_one(self, job: Job, due: dt.datetime) -> bool:
        log = structlog.get_logger().bind(job=job.name, due=due.isoformat())
        begun = self.clock()
        counts: Mapping[str, Any] = {}
        error: Exception | None = None
        with self.store.working(job.name):
            run_id = self.store.runs.begin(job.name, due, begun)
            try:
                counts = job.work(self.site, self.store, self.clock, due)
                outcome = RunOutcome.DONE
            except Stopping as stopping:
                outcome, error = RunOutcome.STOPPED, stopping
            except Exception as failure:  # a job that fails must not take the others down
                outcome, error = RunOutcome.FAILED, failure
            ended = self.clock()
            self.store.runs.end(
                run_id,
                ended,
                outcome,
                error=None if error is None else sentence_of(error),
                counts=counts,
                late_at=job.late_at(due, self.site.site.worker),
            )
        line = {"outcome": outcome.value, "seconds": round((ended - begun).total_seconds(), 3), **counts}
        if isinstance(error, Stopping):
            log.info("run", **line)
            raise error
        if error is not None:
            log.error("run", **line, error=sentence_of(error), exc_info=not _is_foreseen(error) and error)
            return False
        log.info("run", **line)
        return any(counts.values())

    def _miss(self, job: Job, turn: Turn) -> None:
        why = f"not made up: it was due {turn.due:%Y-%m-%d %H:%M} UTC, further back than [worker] allows"
        with self.store.working(job.name):
            self.store.runs.miss(job.name, turn.due, self.clock(), why)
        structlog.get_logger().warning("run", job=job.name, outcome=RunOutcome.MISSED.value, why=why)

    def _beats(self, now: dt.datetime) -> dict[str, Heartbeat]:
        beats = self.store.runs.beats()
        policy = self.site.site.worker
        for job in self.jobs:
            beat = beats.get(job.name)
            if beat is not None and not is_ahead(beat, now):
                continue
            due = first_heartbeat(job, now) if beat is None else job.plan.last_until(now)
            note = self.store.runs.meet if beat is None else self.store.runs.put_back
            note(job.name, due, job.late_at(job.plan.last_until(now), policy))
        return self.store.runs.beats() if beats.keys() != {job.name for job in self.jobs} else beats


def sentence_of(error: Exception) -> str:
    """Say what went wrong: a foreseen failure in its own words, another with its kind before it."""
    said = " ".join(_COLOUR.sub("", str(error)).split())  # the Delta library colours its words
    return said if _is_foreseen(error) else f"{type(error).__name__}: {said}"


def _is_foreseen(error: Exception) -> bool:
    return isinstance(error, (WorkFailed, FaultySite, MissingSecret, OSError))
