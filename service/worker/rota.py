"""Whose turn it is: each job's next run from its plan, its heartbeat and the site's policy."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from config.site import WorkerTable
from service.store.runs import Heartbeat
from service.worker.jobs import Job

_FIRST_PAUSE: Final = dt.timedelta(minutes=5)
_LONGEST_PAUSE: Final = dt.timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Turn:
    """When a job runs next and for which time it was due; `is_missed` where that is not made up."""

    at: dt.datetime
    due: dt.datetime
    is_missed: bool = False


def turn_of(
    job: Job, beat: Heartbeat, now: dt.datetime, policy: WorkerTable, *, is_wanted: bool = False
) -> Turn:
    """Return a job's next turn.

    However many times it was due while nobody ran it, it runs once, for the last of them; not at all if
    that lies further back than the policy allows. One that is wanted between its times is due now. What
    failed is tried again after a pause that doubles.
    """
    due = job.plan.last_until(now)
    if due <= beat.due:
        if not is_wanted:
            following = job.plan.first_after(max(now, beat.due))
            return Turn(following, following)
        due = now
    elif now - due > _allowed(policy):
        return Turn(now, due, is_missed=True)
    if beat.failures and beat.started is not None and beat.started <= now:
        return Turn(max(now, beat.started + _pause(beat.failures)), due)
    return Turn(now, due)


def first_heartbeat(job: Job, now: dt.datetime) -> dt.datetime:
    """Return until when a job that was never run counts as seen to."""
    due = job.plan.last_until(now)
    if not job.begins_at_once:
        return due
    return job.plan.last_until(due - dt.timedelta(microseconds=1))


def is_ahead(beat: Heartbeat, now: dt.datetime) -> bool:
    """Tell whether a heartbeat speaks of a time that is still to come: the clock was set back since."""
    return beat.due > now


def _allowed(policy: WorkerTable) -> dt.timedelta:
    if policy.catch_up == "once":
        return dt.timedelta(hours=policy.lateness_allowed_hours)
    return dt.timedelta(minutes=policy.told_late_after_minutes)


def _pause(failures: int) -> dt.timedelta:
    return min(_FIRST_PAUSE * (1 << min(failures - 1, 10)), _LONGEST_PAUSE)
