"""What people changed, with who and when."""

import datetime as dt
from dataclasses import dataclass

import sqlalchemy as sa

from service.store import Store
from service.store.access_tables import people_changes


@dataclass(frozen=True, slots=True)
class Change:
    """One change: who made it, what it was, and of what or whom."""

    at: dt.datetime
    who: str
    what: str
    about: str


def note_change(connection: sa.Connection, who: str, what: str, about: str, at: dt.datetime) -> None:
    """Write a change down in the transaction that makes it."""
    row = {"at": at, "who": who, "what": " ".join(what.split()), "about": about}
    connection.execute(sa.insert(people_changes), [row])


def changes_of(store: Store, limit: int) -> list[Change]:
    """Return the latest changes, the newest first."""
    query = sa.select(
        people_changes.c.at, people_changes.c.who, people_changes.c.what, people_changes.c.about
    ).order_by(people_changes.c.id.desc())
    with store.reader() as connection:
        return [Change(*row) for row in connection.execute(query.limit(limit))]
