"""The people and programs that may log in."""

import datetime as dt
import unicodedata
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from service.access.changes import note_change
from service.access.passwords import checked_password, hash_of
from service.access.roles import Role
from service.failure import WrongInput
from service.store import Store
from service.store.access_tables import users, web_sessions

_LONGEST_NAME: Final = 60


@dataclass(frozen=True, slots=True)
class User:
    """Somebody who may log in, unless disabled."""

    id: int
    name: str
    role: Role
    is_disabled: bool
    created_at: dt.datetime


def is_anyone(connection: sa.Connection) -> bool:
    """Tell whether there is any user, a disabled one included: from the first on, everybody logs in."""
    return connection.execute(sa.select(users.c.id).limit(1)).first() is not None


def name_key(name: str) -> str:
    """Return a name as names are compared: without regard to capitals and ways of writing a letter."""
    return unicodedata.normalize("NFKC", " ".join(name.split())).casefold()


def add_user(store: Store, name: str, role: Role, password: str, who: str, at: dt.datetime) -> User:
    """Add a user; raises WrongInput where there is one of that name or the password may not be used."""
    plain = _checked_name(name)
    kept = hash_of(checked_password(password, plain))
    values = {
        "name": plain,
        "name_key": name_key(plain),
        "role": role.value,
        "password_hash": kept,
        "is_disabled": False,
        "created_at": at,
    }
    with store.writer() as connection:
        if _row(connection, plain) is not None:
            raise WrongInput(f"there is a user {plain!r} already; nothing was changed")
        connection.execute(sa.insert(users), [values])
        note_change(connection, who, f"added as {role.value}", plain, at)
        return _user(_known(connection, plain))


def users_of(store: Store) -> list[User]:
    """Return every user, by name."""
    with store.reader() as connection:
        rows = connection.execute(sa.select(users).order_by(users.c.name_key)).all()
    return [_user(row) for row in rows]


def user_named(connection: sa.Connection, name: str) -> tuple[User, str] | None:
    """Return a user and what is kept of the password, None where there is none of that name."""
    row = _row(connection, name)
    return None if row is None else (_user(row), row.password_hash)


def set_disabled(store: Store, name: str, is_disabled: bool, who: str, at: dt.datetime) -> None:
    """Let a user in no longer, or again. Sessions end at once, and tokens rest with their user."""
    what = "disabled" if is_disabled else "enabled"
    _change(store, name, {"is_disabled": is_disabled}, what, who, at, ends_sessions=is_disabled)


def set_role(store: Store, name: str, role: Role, who: str, at: dt.datetime) -> None:
    """Give a user another role, which holds from the next request on."""
    _change(store, name, {"role": role.value}, f"role set to {role.value}", who, at, ends_sessions=False)


def set_password(store: Store, name: str, password: str, who: str, at: dt.datetime) -> None:
    """Give a user another password; every session of the user ends."""
    kept = hash_of(checked_password(password, name))
    _change(store, name, {"password_hash": kept}, "password changed", who, at, ends_sessions=True)


def _change(
    store: Store,
    name: str,
    values: dict[str, Any],
    what: str,
    who: str,
    at: dt.datetime,
    *,
    ends_sessions: bool,
) -> None:
    with store.writer() as connection:
        row = _known(connection, name)
        connection.execute(sa.update(users).where(users.c.id == row.id).values(**values))
        if ends_sessions:
            connection.execute(sa.delete(web_sessions).where(web_sessions.c.user_id == row.id))
        note_change(connection, who, what, row.name, at)


def _row(connection: sa.Connection, name: str) -> Any:
    return connection.execute(sa.select(users).where(users.c.name_key == name_key(name))).one_or_none()


def _known(connection: sa.Connection, name: str) -> Any:
    row = _row(connection, name)
    if row is None:
        raise WrongInput(f"there is no user {name!r}; slipledger user list SITE names them")
    return row


def _checked_name(name: str) -> str:
    plain = unicodedata.normalize("NFC", " ".join(name.split()))
    if not 1 <= len(plain) <= _LONGEST_NAME or not plain.isprintable():
        raise WrongInput(f"a name has 1 to {_LONGEST_NAME} characters that can be printed")
    return plain


def _user(row: Any) -> User:
    return User(row.id, row.name, Role(row.role), row.is_disabled, row.created_at)
