"""Passwords: which are taken, how they are kept, and how one is held against what is kept."""

import secrets
import threading
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from service.failure import WrongInput

SHORTEST: Final = 12  # characters; more than the 8 that NIST SP 800-63B (2017), 5.1.1.2, demands
LONGEST: Final = 200
# argon2id with the library's defaults, the low-memory profile of RFC 9106, section 4: 64 MiB for each try,
# so that only a few may be under way at once.
_HASHER: Final = PasswordHasher()
_AT_ONCE: Final = threading.BoundedSemaphore(2)


def checked_password(password: str, name: str) -> str:
    """Return a password that may be used; raise WrongInput, without repeating it, where it may not."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise WrongInput(f"a password has {SHORTEST} to {LONGEST} characters; take a longer sentence")
    if name.casefold() in password.casefold() and len(password) < SHORTEST + len(name):
        raise WrongInput("the password is little more than the name; take another")
    if len(set(password)) < 5:
        raise WrongInput("the password repeats a few characters; take another")
    return password


def hash_of(password: str) -> str:
    """Return what is kept of a password."""
    with _AT_ONCE:
        return _HASHER.hash(password)


@cache
def _nobodys() -> str:
    """Return what is kept of a password that nobody has."""
    return _HASHER.hash(secrets.token_urlsafe(32))


def is_right(kept: str | None, password: str) -> bool:
    """Tell whether a password is the one of which something is kept; as slowly where nothing is."""
    if len(password) > LONGEST:
        return False
    with _AT_ONCE:
        try:
            return _HASHER.verify(kept or _nobodys(), password) and kept is not None
        except (VerificationError, InvalidHashError):
            return False
