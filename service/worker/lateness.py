"""Tell people, once, of a job that is late."""

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any, Final

from config.folder import SiteFolder
from service.notices import rows_for
from service.notices.late_job import late_notice
from service.store.outbox import write_once
from service.store.store import Store

_MESSENGERS: Final = ("watch", "outbox")


def tell_of_late_jobs(
    site: SiteFolder, store: Store, clock: Callable[[], dt.datetime], _due: dt.datetime
) -> Mapping[str, Any]:
    """Put a mail into the outbox for each job that is late; of one lateness nobody is told twice.

    Not for the two that carry the telling: after downtime they are late until this mail is on its way.
    """
    now = clock()
    declared = site.site
    late = [beat for beat in store.runs.beats().values() if beat.is_late(now) and beat.job not in _MESSENGERS]
    notices = [
        late_notice(declared.name, beat.job, beat.done, beat.late_at, beat.why_failed, declared.zone)
        for beat in late
    ]
    rows = [row for notice in notices for row in rows_for(site, notice, now)]
    if not rows:
        return {"late": [beat.job for beat in late]} if late else {}
    with store.writer() as connection:
        told = write_once(connection, rows)
    return {"late": [beat.job for beat in late], "told": told}
