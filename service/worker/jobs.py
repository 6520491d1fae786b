"""What the worker does: each job a plain function of the site, its store, a clock and when it was due."""

import dataclasses
import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import sqlalchemy as sa

from config.folder import SiteFolder
from config.site import WorkerTable
from service.alerts import keep_alerts, tell_silence
from service.assess import assess
from service.failure import WorkFailed
from service.intake import pull
from service.mail.delivering import deliver
from service.mail.outbox import write_weekly
from service.mail.weeks import Week
from service.store.ledger_tables import hour_marks
from service.store.store import Store
from service.worker.lateness import tell_of_late_jobs
from service.worker.schedule import Every, OnDays, Plan

Clock = Callable[[], dt.datetime]
Counts = Mapping[str, Any]
Work = Callable[[SiteFolder, Store, Clock, dt.datetime], Counts]

ASSESS: Final = "assess"
OUTBOX: Final = "outbox"
WEEKLY: Final = "weekly mail"
UPKEEP: Final = "upkeep"
WATCH: Final = "watch"
_KEEP_IDLE: Final = dt.timedelta(days=2)
_FILES_A_MONTH: Final = 8  # more are rewritten as one


@dataclass(frozen=True, slots=True)
class Job:
    """One thing the worker does: its name, when it is due, and the work.

    `begins_at_once`: a site that never ran it runs it at the start; else it waits for its first time.
    `then` the jobs that follow a run which had done something; `is_wanted` asks a store whether there is work
    for it between its times, whatever ran before.
    """

    name: str
    plan: Plan
    work: Work
    begins_at_once: bool
    then: tuple[str, ...] = ()
    is_wanted: Callable[[Store], bool] | None = None

    def late_at(self, due: dt.datetime, policy: WorkerTable) -> dt.datetime:
        """Return from when on it is late, if it was last done for a time it was due."""
        return self.plan.first_after(due) + dt.timedelta(minutes=policy.told_late_after_minutes)


def jobs_of(site: SiteFolder) -> tuple[Job, ...]:
    """Return the jobs of a site as its files say, in the order in which they go when all are due."""
    declared = site.site
    policy, zone = declared.worker, declared.zone
    pulls = [
        Job(
            f"pull {source.name}",
            Every(source.every_minutes),
            partial(pull_source, source.name),
            begins_at_once=True,
            then=(ASSESS,),
        )
        for source in declared.sources
    ]
    jobs = [
        *pulls,
        Job(
            ASSESS,
            OnDays(policy.nightly_at, zone),
            assess_all,
            begins_at_once=True,
            then=(OUTBOX,),
            is_wanted=is_assess_wanted,
        ),
        Job(UPKEEP, OnDays(policy.upkeep_at, zone), keep_up, begins_at_once=False),
        Job(WATCH, Every(policy.watch_minutes), tell_of_late_jobs, begins_at_once=True, then=(OUTBOX,)),
        Job(OUTBOX, Every(policy.outbox_minutes), send_outbox, begins_at_once=True),
    ]
    if declared.mail is not None:
        at = OnDays(declared.mail.time_of_day, zone, declared.mail.weekday)
        jobs.insert(-2, Job(WEEKLY, at, write_weekly_mail, begins_at_once=False, then=(OUTBOX,)))
    return tuple(jobs)


def is_assess_wanted(store: Store) -> bool:
    """Tell whether readings came that no assess has followed, or the last one did not end well.

    Asked of the store and not of the pull just done: an assess that was killed is wanted still, and one after
    a pull that somebody ran by hand.
    """
    beat = store.runs.beats().get(ASSESS)
    with store.reader() as connection:
        followed = connection.execute(sa.select(sa.func.max(hour_marks.c.pass_id))).scalar() or 0
    is_unfinished = beat is not None and beat.outcome is not None and beat.outcome != "done"
    return store.latest_pass() > followed or is_unfinished


def pull_source(source: str, site: SiteFolder, store: Store, clock: Clock, _due: dt.datetime) -> Counts:
    """Pull one source; raise WorkFailed, with the rest done, where it could not be reached."""
    report = pull(site, store, only=(source,), clock=clock)
    if report.problems:
        raise WorkFailed("; ".join(report.problems))
    counts = {name: sum(getattr(file, name) for file in report.files) for name in ("stored", "refused")}
    return {"files": len(report.files), "known": report.skipped, **counts}


def assess_all(site: SiteFolder, store: Store, clock: Clock, _due: dt.datetime) -> Counts:
    """Bring ledger and alerts up to date as of the last reading; what people are to be told is written."""
    moved = assess(site, store)
    keep_alerts(site, store, clock())
    tell_silence(site, store, clock())
    return {"fans": len(moved)}


def write_weekly_mail(site: SiteFolder, store: Store, clock: Clock, due: dt.datetime) -> Counts:
    """Write the mail of the week that was over by the plant's clock when this was due."""
    week = Week.of(due.astimezone(site.site.zone).date()).before
    return {"week": str(week), "written": write_weekly(site, store, week, clock())}


def send_outbox(site: SiteFolder, store: Store, clock: Clock, _due: dt.datetime) -> Counts:
    """Send what waits in the outbox and is due; what fails stays in its row with the reason."""
    delivered = deliver(store, site, clock())
    return {name: value for name, value in dataclasses.asdict(delivered).items() if value}


def keep_up(site: SiteFolder, store: Store, clock: Clock, _due: dt.datetime) -> Counts:
    """Keep the store small: compact readings and hours, delete outlived files, old runs, unused tables."""
    policy = site.site.worker
    compacted = store.compact(_FILES_A_MONTH)
    store.remove_retired()
    removed = store.vacuum(policy.keep_replaced_hours)
    known = [job.name for job in jobs_of(site)]
    now = clock()
    kept_from = now - dt.timedelta(days=policy.keep_runs_days)
    forgotten = store.runs.forget(known, kept_from, now - _KEEP_IDLE)
    return {"months": len(compacted), "files": removed, "runs": forgotten}
