"""Who asks, what they may do, and the token that shows that a form was ours."""

import hashlib
import hmac
import secrets
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from fastapi import Request

from service.access import Role
from service.web.problem import Problem

LOCAL_NAME: Final = "someone at the server"
FORM_FIELD: Final = "form_token"
_NONCE: Final = 16


class Proof(StrEnum):
    """What shows who asks."""

    NOTHING = "nothing"
    PLACE = "place"  # at this machine, while there is no user yet
    SESSION = "session"
    TOKEN = "token"


@dataclass(slots=True)
class FormKey:
    """What a visitor's forms are made with: the session, or a cookie that is set once a form is made."""

    key: str
    is_new: bool = False
    is_used: bool = False


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks; `role` None for nobody."""

    name: str
    role: Role | None
    proof: Proof
    form_key: FormKey = field(repr=False)
    address: str = ""

    def may(self, role: Role) -> bool:
        """Tell whether the visitor may do what a role may."""
        return self.role is not None and self.role.includes(role)

    @property
    def is_logged_in(self) -> bool:
        """Whether there is a session that can be ended."""
        return self.proof is Proof.SESSION


NOBODY: Final = Visitor("", None, Proof.NOTHING, FormKey("", is_new=True))
# Whom the templates greet; set by the door for the time of a request.
PRESENT: Final[ContextVar[Visitor]] = ContextVar("visitor", default=NOBODY)


def visitor_of(request: Request) -> Visitor:
    """Return who asks."""
    visitor: Visitor = request.state.visitor
    return visitor


def actor(request: Request) -> str:
    """Return who asks, as the name that a change is kept with."""
    return visitor_of(request).name


class Require:
    """A dependency of a route: only who has the role is answered. Routes without one ask for a viewer."""

    def __init__(self, role: Role) -> None:
        """Ask for a role."""
        self.role = role

    def __call__(self, request: Request) -> Visitor:
        """Return the visitor, or answer 403."""
        visitor = visitor_of(request)
        if not visitor.may(self.role):
            needed = f"{'an' if self.role is not Role.VIEWER else 'a'} {self.role}"
            raise Problem(403, f"This takes {needed}.", "ask an admin for that role, or to do it for you")
        return visitor


def require(role: Role) -> Callable[[Request], Visitor]:
    """Return the dependency that lets in only who has a role: `Depends(require(Role.OPERATOR))`."""
    return Require(role)


def form_token(visitor: Visitor | None = None) -> str:
    """Return what the hidden field `form_token` of a form holds; another one each time.

    That it differs from answer to answer keeps it from being guessed by the lengths of compressed pages.
    """
    key = (visitor or PRESENT.get()).form_key
    key.is_used = True
    nonce = secrets.token_hex(_NONCE)
    return f"{nonce}.{_seal(key.key, nonce)}"


def is_own_form(visitor: Visitor, token: str) -> bool:
    """Tell whether a token was made for this visitor's forms."""
    nonce, _, seal = token.partition(".")
    key = visitor.form_key
    return not key.is_new and hmac.compare_digest(seal.encode(), _seal(key.key, nonce).encode())


def _seal(key: str, nonce: str) -> str:
    return hmac.new(key.encode(), f"form {nonce}".encode(), hashlib.sha256).hexdigest()
