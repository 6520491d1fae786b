"""Tell at once what is no alert of a fan: a job that is late, a source that is down."""

import datetime as dt

from config.folder import SiteFolder
from service.notices import Notice, rows_for
from service.store.outbox import write_once
from service.store.store import Store
from service.words import one_line


def announce(
    site: SiteFolder, store: Store, occasion: str, subject: str, said: tuple[str, ...], now: dt.datetime
) -> bool:
    """Put a message to everyone who is told at once into the outbox; False where it was there already.

    Parameters: `occasion` what it is about, "source:nightly:2025-06-09" say: nobody is told twice of one;
    `subject` without the site's name; `said` its paragraphs, with what to do.
    """
    title = f"{subject}: {one_line(site.site.name)}"
    notice = Notice(occasion, "service", title, said, is_for_someone=True)
    rows = rows_for(site, notice, now)
    with store.writer() as connection:
        return write_once(connection, rows) > 0
