"""A visitor's own password and tokens, and, for an admin, who may do what."""

from collections.abc import Callable
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import RedirectResponse, Response

from service.access import (
    Role,
    add_user,
    begin_attempt,
    changes_of,
    end_attempt,
    make_token,
    name_key,
    revoke_token,
    set_disabled,
    set_password,
    set_role,
    tokens_of,
    users_of,
)
from service.failure import WorkFailed
from service.web.desk import Desk
from service.web.paper import page
from service.web.problem import Problem
from service.web.visitor import Proof, Visitor, actor, require, visitor_of
from service.words import capital

_SHOWN_CHANGES: Final = 100
_TOKEN_DAYS: Final = 365
_Text = Annotated[str, Form()]


def people_routes(desk: Desk) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)
    _add_own_routes(router, desk)
    _add_admin_routes(router, desk)
    return router


def _add_own_routes(router: APIRouter, desk: Desk) -> None:
    @router.get("/account")
    def _account(request: Request) -> Response:
        return _account_page(desk, _somebody(request))

    @router.post("/account/password")
    def _password(request: Request, old: _Text = "", new: _Text = "", again: _Text = "") -> Response:
        visitor, at = _somebody(request), desk.clock()
        attempt = begin_attempt(desk.store, visitor.name, visitor.address, at)
        if attempt is None:
            raise Problem(429, "Those were too many tries.", "wait a quarter of an hour")
        if end_attempt(desk.store, attempt, visitor.name, old) is None:
            raise Problem(403, "The old password is another one.", "go back and type it again")
        if new != again:
            raise Problem(400, "The new password was typed in two ways.", "go back and type it again")
        _done(lambda: set_password(desk.store, visitor.name, new, visitor.name, at))
        return RedirectResponse("/login", 303)

    @router.post("/account/tokens")
    def _token(request: Request, label: _Text = "", role: Annotated[Role, Form()] = Role.VIEWER) -> Response:
        visitor = _somebody(request)
        made: list[str] = []
        at = desk.clock()
        _done(
            lambda: made.append(
                make_token(desk.store, visitor.name, label, role, _TOKEN_DAYS, visitor.name, at)
            )
        )
        return _account_page(desk, visitor, made[0])

    @router.post("/account/tokens/{number}/revoke")
    def _revoke(request: Request, number: int) -> Response:
        visitor = _somebody(request)
        _done(lambda: revoke_token(desk.store, number, visitor.name, desk.clock(), of=visitor.name))
        return RedirectResponse("/account", 303)


def _add_admin_routes(router: APIRouter, desk: Desk) -> None:
    for_admins = [Depends(require(Role.ADMIN))]

    @router.get("/people", dependencies=for_admins)
    def _people() -> Response:
        changes = changes_of(desk.store, _SHOWN_CHANGES)
        told = {"people": users_of(desk.store), "tokens": tokens_of(desk.store), "changes": changes}
        return page("people.html", site=desk.site.site, roles=list(Role), **told)

    @router.post("/people", dependencies=for_admins)
    def _add(request: Request, name: _Text = "", role: _Text = "", password: _Text = "") -> Response:
        at = desk.clock()
        _done(lambda: add_user(desk.store, name, _role(role), password, actor(request), at))
        return RedirectResponse("/people", 303)

    @router.post("/people/role", dependencies=for_admins)
    def _change_role(request: Request, name: _Text = "", role: _Text = "") -> Response:
        _not_oneself(request, name)
        _done(lambda: set_role(desk.store, name, _role(role), actor(request), desk.clock()))
        return RedirectResponse("/people", 303)

    @router.post("/people/disabled", dependencies=for_admins)
    def _disable(request: Request, name: _Text = "", disabled: _Text = "yes") -> Response:
        _not_oneself(request, name)
        is_out = disabled != "no"
        _done(lambda: set_disabled(desk.store, name, is_out, actor(request), desk.clock()))
        return RedirectResponse("/people", 303)

    @router.post("/people/tokens/{number}/revoke", dependencies=for_admins)
    def _revoke_any(request: Request, number: int) -> Response:
        _done(lambda: revoke_token(desk.store, number, actor(request), desk.clock()))
        return RedirectResponse("/people", 303)


def _account_page(desk: Desk, visitor: Visitor, made: str = "") -> Response:
    roles = [role for role in Role if visitor.may(role)]
    told = {"tokens": tokens_of(desk.store, visitor.name), "roles": roles, "made": made}
    return page("account.html", site=desk.site.site, now=desk.clock(), **told)


def _somebody(request: Request) -> Visitor:
    """Return who asks, if they have logged in with a password: a token makes no token."""
    visitor = visitor_of(request)
    if visitor.proof is not Proof.SESSION:
        raise Problem(403, "This is for people who have logged in.", "log in at /login")
    return visitor


def _not_oneself(request: Request, name: str) -> None:
    if name_key(name) == name_key(actor(request)):
        raise Problem(
            409, "Nobody does that to themselves: the last admin would be locked out.", "ask another"
        )


def _role(text: str) -> Role:
    try:
        return Role(text)
    except ValueError:
        raise Problem(400, "There is no such role.", f"name one of {', '.join(Role)}") from None


def _done(change: Callable[[], object]) -> None:
    try:
        change()
    except WorkFailed as failed:
        raise Problem(409, f"{capital(str(failed))}.", "go back and put it right") from None
