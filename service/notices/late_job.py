"""What is said of a job that is late, on a page and in a mail."""

import datetime as dt
from typing import Final

from service.notices.notice import Notice

_SHOWN: Final = 400


def lateness_of(
    job: str, done: dt.datetime | None, late_at: dt.datetime, error: str | None, zone: dt.tzinfo
) -> str:
    """Say in sentences that a job is late, since when, and why; `error` what its last try failed of."""
    last = "was never done" if done is None else f"was last done {_at(done, zone)}"
    said = f"The job {job!r} {last} and should have been by {_at(late_at, zone)}."
    if error:
        return f"{said} It was tried and failed: {error[:_SHOWN]}"
    return f"{said} It was not tried since, or not to its end."


def late_notice(
    site: str, job: str, done: dt.datetime | None, late_at: dt.datetime, error: str | None, zone: dt.tzinfo
) -> Notice:
    """Return the notice of one lateness: of each, people are told once."""
    return Notice(
        occasion=f"late {job} {late_at:%Y-%m-%dT%H:%M}",
        kind="job_late",
        subject=f"{site}: the job {job!r} is late",
        said=(
            lateness_of(job, done, late_at, error, zone),
            "Until it is done, what pages and mails say is as old as that. Nothing is lost: it is made up as "
            "soon as it can be. Whoever looks after the machine finds more in the log of the service and "
            "under /health.",
        ),
        is_for_someone=True,
        details={"job": job, "late_since": f"{late_at:%Y-%m-%dT%H:%M:%SZ}", "error": error or ""},
    )


def _at(time: dt.datetime, zone: dt.tzinfo) -> str:
    return f"{time.astimezone(zone):%Y-%m-%d %H:%M}"
