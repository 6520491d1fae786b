"""The outbox as a queue: rows written once, claimed before they are sent, marked after."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from service.store.mail_tables import outbox

# The pause doubles from a minute to four hours; after a month of trying nobody waits for it any more.
FIRST_PAUSE: Final = dt.timedelta(minutes=1)
LONGEST_PAUSE: Final = dt.timedelta(hours=4)
TRIED_FOR: Final = dt.timedelta(days=30)
_MOST: Final = 500
_KEY: Final = ("channel", "recipient", "occasion")
_WAITS: Final = outbox.c.sent_at.is_(None) & outbox.c.given_up_at.is_(None)


@dataclass(frozen=True, slots=True)
class Queue:
    """How the outbox stands: waiting rows, since when the oldest waits, rows given up; the latest reason."""

    waiting: int
    oldest: dt.datetime | None
    given_up: int
    reason: str | None


def write_once(connection: sa.Connection, rows: Sequence[dict[str, Any]]) -> int:
    """Write the rows whose channel, recipient and occasion have none yet; return how many those were."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    written = 0
    for row in rows:
        insert = dialect.insert(outbox).values(row).on_conflict_do_nothing(index_elements=list(_KEY))
        # What was written is told, and not its count: of an insert PostgreSQL's driver has none.
        written += len(connection.execute(insert.returning(outbox.c.id)).all())
    return written


def pause_after(attempts: int) -> dt.timedelta:
    """Return how long to wait after so many attempts."""
    doubled: int = 2 ** min(max(attempts - 1, 0), 16)
    return min(FIRST_PAUSE * doubled, LONGEST_PAUSE)


def due(connection: sa.Connection, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the rows whose turn it is, the oldest first."""
    is_due = outbox.c.next_attempt_at.is_(None) | (outbox.c.next_attempt_at <= now)
    query = sa.select(outbox).where(_WAITS, is_due).order_by(outbox.c.id).limit(_MOST)
    return [dict(row._mapping) for row in connection.execute(query)]


def claim(connection: sa.Connection, row: dict[str, Any], now: dt.datetime) -> bool:
    """Count an attempt before it is made; False where another process has made one meanwhile."""
    attempts = row["attempts"] + 1
    is_mine = (outbox.c.id == row["id"]) & (outbox.c.attempts == row["attempts"]) & outbox.c.sent_at.is_(None)
    values = {"attempts": attempts, "next_attempt_at": now + pause_after(attempts)}
    return connection.execute(sa.update(outbox).where(is_mine).values(**values)).rowcount == 1


def mark_sent(connection: sa.Connection, row: dict[str, Any], now: dt.datetime) -> None:
    """Write that a row's message has been taken."""
    values = {"sent_at": now, "last_error": None, "given_up_at": None}
    connection.execute(sa.update(outbox).where(outbox.c.id == row["id"]).values(**values))


def mark_refused(
    connection: sa.Connection, row: dict[str, Any], reason: str, now: dt.datetime, *, is_final: bool
) -> bool:
    """Write why a message was not taken; return whether it is given up, by its refusal or its age."""
    is_given_up = is_final or now - row["written_at"] > TRIED_FOR
    values = {"last_error": reason, "given_up_at": now if is_given_up else None}
    connection.execute(sa.update(outbox).where(outbox.c.id == row["id"]).values(**values))
    return is_given_up


def queue(connection: sa.Connection) -> Queue:
    """Return how the outbox stands."""
    count, oldest = connection.execute(
        sa.select(sa.func.count(), sa.func.min(outbox.c.written_at, type_=outbox.c.written_at.type)).where(
            _WAITS
        )
    ).one()
    given_up = connection.execute(
        sa.select(sa.func.count()).where(outbox.c.given_up_at.is_not(None))
    ).scalar_one()
    is_open = outbox.c.sent_at.is_(None) & outbox.c.last_error.is_not(None)
    reason = connection.execute(
        sa.select(outbox.c.last_error).where(is_open).order_by(outbox.c.id.desc()).limit(1)
    ).scalar()
    return Queue(count, oldest, given_up, reason)
