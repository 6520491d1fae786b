"""Tries to log in: so many an account and an address, then a wait."""

import datetime as dt
from typing import Final

import sqlalchemy as sa

from service.access.passwords import is_right
from service.access.people import User, name_key, user_named
from service.store import Store
from service.store.access_tables import login_attempts

WINDOW: Final = dt.timedelta(minutes=15)
OF_ACCOUNT: Final = 5  # wrong tries within the window, from wherever they come
OF_ADDRESS: Final = 20  # of whatever accounts
_KEPT: Final = dt.timedelta(days=90)
_LONGEST: Final = 120


def begin_attempt(store: Store, name: str, address: str, at: dt.datetime) -> int | None:
    """Write down a try before its password is looked at; return its number, None where it is one too many.

    The row is written in the transaction that counts, so that a hundred tries at once are a hundred tries.
    A try that is refused is not counted: whoever waits the window out is let try again.
    """
    account, place = name_key(name)[:_LONGEST], address[:_LONGEST]
    is_recent = (login_attempts.c.at > at - WINDOW) & sa.not_(login_attempts.c.is_right)
    counted = sa.select(sa.func.count()).select_from(login_attempts).where(is_recent)
    with store.writer() as connection:
        of_account = connection.execute(counted.where(login_attempts.c.account == account)).scalar() or 0
        of_address = connection.execute(counted.where(login_attempts.c.address == place)).scalar() or 0
        if of_account >= OF_ACCOUNT or of_address >= OF_ADDRESS:
            return None
        connection.execute(sa.delete(login_attempts).where(login_attempts.c.at < at - _KEPT))
        row = {"at": at, "account": account, "address": place, "is_right": False}
        given = connection.execute(sa.insert(login_attempts).values(**row)).inserted_primary_key
    assert given is not None
    return int(given[0])


def end_attempt(store: Store, attempt: int, name: str, password: str) -> User | None:
    """Return who it is if the password is right and the user not disabled; the try then counts no longer."""
    with store.reader() as connection:
        found = user_named(connection, name)
    user, kept = (None, None) if found is None else found
    if not is_right(kept, password) or user is None or user.is_disabled:
        return None
    with store.writer() as connection:
        done = sa.update(login_attempts).where(login_attempts.c.id == attempt).values(is_right=True)
        connection.execute(done)
    return user
