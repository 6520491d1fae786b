"""Browsers that are logged in. A session ends by itself, by logging out, with its user, with the password."""

import datetime as dt
import hashlib
import secrets
from typing import Final

import sqlalchemy as sa

from service.access.people import User
from service.access.roles import Role
from service.store import Store
from service.store.access_tables import users, web_sessions

LONGEST: Final = dt.timedelta(days=7)
IDLE: Final = dt.timedelta(hours=12)
_SEEN_EVERY: Final = dt.timedelta(minutes=5)  # a write for every page would be too many


def digest_of(secret: str) -> str:
    """Return what is kept of a secret drawn at random: it cannot be guessed, so a fast digest will do."""
    return hashlib.sha256(secret.encode()).hexdigest()


def begin_session(connection: sa.Connection, user: User, at: dt.datetime) -> str:
    """Log a browser in and return what its cookie shall hold; sessions that are over are dropped."""
    secret = secrets.token_urlsafe(32)
    over = (web_sessions.c.ends_at <= at) | (web_sessions.c.seen_at <= at - IDLE)
    connection.execute(sa.delete(web_sessions).where(over))
    row = {
        "digest": digest_of(secret),
        "user_id": user.id,
        "begun_at": at,
        "seen_at": at,
        "ends_at": at + LONGEST,
    }
    connection.execute(sa.insert(web_sessions), [row])
    return secret


def user_of_session(store: Store, secret: str, at: dt.datetime) -> User | None:
    """Return who is logged in by a cookie, None where it is nobody or no longer."""
    digest = digest_of(secret)
    query = (
        sa.select(users, web_sessions.c.seen_at)
        .join(web_sessions, web_sessions.c.user_id == users.c.id)
        .where(web_sessions.c.digest == digest, web_sessions.c.ends_at > at)
        .where(web_sessions.c.seen_at > at - IDLE, sa.not_(users.c.is_disabled))
    )
    with store.reader() as connection:
        row = connection.execute(query).one_or_none()
    if row is None:
        return None
    if at - row.seen_at > _SEEN_EVERY:
        with store.writer() as connection:
            kept = sa.update(web_sessions).where(web_sessions.c.digest == digest).values(seen_at=at)
            connection.execute(kept)
    return User(row.id, row.name, Role(row.role), row.is_disabled, row.created_at)


def end_session(store: Store, secret: str) -> None:
    """Log a browser out."""
    with store.writer() as connection:
        connection.execute(sa.delete(web_sessions).where(web_sessions.c.digest == digest_of(secret)))
