"""What a program shows to be let in: shown once when it is made, kept as a digest."""

import datetime as dt
import secrets
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from service.access.changes import note_change
from service.access.people import User, name_key, user_named
from service.access.roles import Role, lesser
from service.access.sessions import digest_of
from service.failure import WrongInput
from service.store import Store
from service.store.access_tables import access_tokens, users

LONGEST_DAYS: Final = 3660
_BEGINNING: Final = "slipledger_"  # so that one left in a file or a log is found
_LONGEST_LABEL: Final = 80


@dataclass(frozen=True, slots=True)
class Token:
    """A token as it is listed, without what it says."""

    id: int
    user: str
    label: str
    role: Role
    created_at: dt.datetime
    ends_at: dt.datetime
    revoked_at: dt.datetime | None


def make_token(
    store: Store, name: str, label: str, role: Role | None, days: int, who: str, at: dt.datetime
) -> str:
    """Make a token for a user and return it: it cannot be had again. `role` at most the user's own."""
    secret = _BEGINNING + secrets.token_urlsafe(32)
    plain = " ".join(label.split())
    if not plain.isprintable() or not 1 <= len(plain) <= _LONGEST_LABEL:
        raise WrongInput(f"a token's label has 1 to {_LONGEST_LABEL} characters; say what uses the token")
    if not 1 <= days <= LONGEST_DAYS:
        raise WrongInput(f"a token holds for 1 to {LONGEST_DAYS} days, not {days}")
    with store.writer() as connection:
        found = user_named(connection, name)
        if found is None:
            raise WrongInput(f"there is no user {name!r}; slipledger user list SITE names them")
        user, _ = found
        row = {
            "digest": digest_of(secret),
            "user_id": user.id,
            "label": plain,
            "role": lesser(user.role, role or user.role).value,
            "created_at": at,
            "ends_at": at + dt.timedelta(days=days),
        }
        connection.execute(sa.insert(access_tokens), [row])
        note_change(connection, who, f"token made: {plain}", user.name, at)
    return secret


def user_of_token(store: Store, secret: str, at: dt.datetime) -> tuple[User, Role] | None:
    """Return whose a token is and what it may do now, None where it is nobody's or no longer holds."""
    query = (
        sa.select(users, access_tokens.c.role.label("token_role"))
        .join(access_tokens, access_tokens.c.user_id == users.c.id)
        .where(access_tokens.c.digest == digest_of(secret), access_tokens.c.ends_at > at)
        .where(access_tokens.c.revoked_at.is_(None), sa.not_(users.c.is_disabled))
    )
    with store.reader() as connection:
        row = connection.execute(query).one_or_none()
    if row is None:
        return None
    user = User(row.id, row.name, Role(row.role), row.is_disabled, row.created_at)
    return user, lesser(user.role, Role(row.token_role))


def tokens_of(store: Store, name: str | None = None) -> list[Token]:
    """Return the tokens of a user, or all, the newest first."""
    query = sa.select(
        access_tokens.c.id,
        users.c.name,
        access_tokens.c.label,
        access_tokens.c.role,
        access_tokens.c.created_at,
        access_tokens.c.ends_at,
        access_tokens.c.revoked_at,
    ).join(users, access_tokens.c.user_id == users.c.id)
    if name is not None:
        query = query.where(users.c.name == name)
    with store.reader() as connection:
        rows = connection.execute(query.order_by(access_tokens.c.id.desc())).all()
    return [Token(*row[:3], Role(row[3]), *row[4:]) for row in rows]


def revoke_token(store: Store, token_id: int, who: str, at: dt.datetime, *, of: str | None = None) -> None:
    """Let a token hold no longer; `of` limits it to the tokens of one user."""
    with store.writer() as connection:
        query = sa.select(users.c.name, access_tokens.c.label).join(
            users, access_tokens.c.user_id == users.c.id
        )
        row = connection.execute(query.where(access_tokens.c.id == token_id)).one_or_none()
        if row is None or (of is not None and name_key(row.name) != name_key(of)):
            raise WrongInput(f"there is no token {token_id}; slipledger user list SITE names them")
        is_held = (access_tokens.c.id == token_id) & access_tokens.c.revoked_at.is_(None)
        done = connection.execute(sa.update(access_tokens).where(is_held).values(revoked_at=at))
        if done.rowcount:
            note_change(connection, who, f"token revoked: {row.label}", row.name, at)
