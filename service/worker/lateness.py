"""Tell people, once, of a job that is late."""

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any, Final

from config.folder import SiteFolder
from service.notices import Notice, rows_for
from service.store.outbox import write_once
from service.store.runs import Heartbeat, RunOutcome
from service.store.store import Store

_SHOWN: Final = 400


def tell_of_late_jobs(
    site: SiteFolder, store: Store, clock: Callable[[], dt.datetime], _due: dt.datetime
) -> Mapping[str, Any]:
    """Put a mail into the outbox for each job that is late; of one lateness nobody is told twice."""
    now = clock()
    late = [beat for beat in store.runs.beats().values() if beat.is_late(now)]
    rows = [row for beat in late for row in rows_for(site, _notice(site, beat), now)]
    if rows:
        with store.writer() as connection:
            write_once(connection, rows)
    return {"late": [beat.job for beat in late]} if late else {}


def lateness_of(beat: Heartbeat, zone: dt.tzinfo) -> str:
    """Say in a sentence that a job is late, since when, and why."""
    done = "was never done" if beat.done is None else f"was last done {_at(beat.done, zone)}"
    said = f"The job {beat.job!r} {done} and should have been by {_at(beat.late_at, zone)}."
    if beat.outcome is RunOutcome.FAILED and beat.error:
        return f"{said} It was tried and failed: {beat.error[:_SHOWN]}"
    return f"{said} It was not tried since, or not to its end."


def _notice(site: SiteFolder, beat: Heartbeat) -> Notice:
    zone = site.site.zone
    return Notice(
        occasion=f"late {beat.job} {beat.late_at:%Y-%m-%dT%H:%M}",
        kind="job_late",
        subject=f"{site.site.name}: the job {beat.job!r} is late",
        said=(
            lateness_of(beat, zone),
            "Until it is done, what the pages and mails say is as old as that. Nothing is lost: it is made "
            "up as soon as it can be. Whoever looks after the machine sees more on the page /worker and in "
            "the log of the service.",
        ),
        details={
            "job": beat.job,
            "late_since": f"{beat.late_at:%Y-%m-%dT%H:%M:%SZ}",
            "failures": beat.failures,
            "error": beat.error or "",
        },
    )


def _at(time: dt.datetime, zone: dt.tzinfo) -> str:
    return f"{time.astimezone(zone):%Y-%m-%d %H:%M}"
