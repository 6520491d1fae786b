"""Who is let in: by a session, by a token, or, while there is no user, by being at this very machine."""

import datetime as dt
import secrets
from collections.abc import Callable
from typing import Final
from urllib.parse import parse_qs, quote

import sqlalchemy as sa
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.access import is_anyone, user_of_session, user_of_token
from service.access.roles import Role
from service.store import Store
from service.web.answers import error_answer, problem_of
from service.web.bounds import replayed
from service.web.problem import JSON_PATHS, Problem
from service.web.reach import Reach
from service.web.routes import LOGIN_PATH, RouteTable, is_open
from service.web.visitor import (
    FORM_FIELD,
    LOCAL_NAME,
    NOBODY,
    PRESENT,
    FormKey,
    Proof,
    Visitor,
    is_own_form,
)

_FORM_TYPE: Final = "application/x-www-form-urlencoded"
_LONGEST_FIELDS: Final = 200
NO_USER: Final = (
    "Nobody can log in yet, and without a user only this machine itself is answered, with no proxy between."
)
ADD_USER: Final = "add the first user on the server: slipledger user add SITE NAME --role admin"
_ADD_LOGIN: Final = {"www-authenticate": 'Bearer realm="slipledger"'}


class Cookies:
    """The names and marks of the two cookies: who is logged in, and with what a form was made."""

    def __init__(self, reach: Reach) -> None:
        """Name them for an address; `__Host-` keeps other names of the same domain from setting them."""
        beginning = "__Host-slipledger" if reach.is_secure else "slipledger"
        self.session = f"{beginning}-session"
        self.form = f"{beginning}-form"
        self._marks = "; Path=/; HttpOnly; SameSite=Lax" + ("; Secure" if reach.is_secure else "")

    def written(self, name: str, value: str, seconds: int | None = None) -> str:
        """Return a Set-Cookie header."""
        age = "" if seconds is None else f"; Max-Age={seconds}"
        return f"{name}={value}{self._marks}{age}"


class Door:
    """Finds out who asks, and lets through who may; what is not said to be open is closed."""

    def __init__(
        self, app: ASGIApp, store: Store, reach: Reach, routes: RouteTable, clock: Callable[[], dt.datetime]
    ) -> None:
        """Stand before an application."""
        self._app = app
        self._store = store
        self._reach = reach
        self._routes = routes
        self._clock = clock
        self._cookies = Cookies(reach)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with its visitor, or say what it takes."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        try:
            visitor = await self._let_in(scope)
            if scope["method"] == "POST":
                body = (await receive()).get("body", b"")
                self._check_own(scope, visitor, body)
                receive = replayed(body, receive)
        except (Problem, sa.exc.SQLAlchemyError) as error:
            await error_answer(scope["path"], problem_of(error))(scope, receive, send)
            return
        scope.setdefault("state", {})["visitor"] = visitor
        present = PRESENT.set(visitor)
        try:
            await self._app(scope, receive, self._with_cookie(send, visitor))
        finally:
            PRESENT.reset(present)

    async def _let_in(self, scope: Scope) -> Visitor:
        """Return who asks, if they may ask that here at all."""
        path = scope["path"]
        known = self._routes.methods(path)
        if known and scope["method"] not in known:
            allow = {"allow": ", ".join(known)}
            raise Problem(405, "That cannot be done here.", f"ask with {known[0]}", allow)
        if is_open(path) and path != LOGIN_PATH:
            return NOBODY  # also while the database does not answer
        visitor = await run_in_threadpool(self._visitor, scope)
        if visitor.role is None and path != LOGIN_PATH:
            self._turn_away(scope)
        return visitor

    def _visitor(self, scope: Scope) -> Visitor:
        """Return who asks; a token that does not hold is refused on any path."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        address = self._reach.comes_from(scope)
        kind, _, secret = headers.get("authorization", "").partition(" ")
        if kind:
            return self._by_token(kind, secret.strip(), address)
        cookies = cookie_parser(headers.get("cookie", ""))
        session = cookies.get(self._cookies.session, "")
        user = user_of_session(self._store, session, self._clock()) if session else None
        if user is not None:
            return Visitor(user.name, user.role, Proof.SESSION, FormKey(session), address)
        given = cookies.get(self._cookies.form, "")
        key = FormKey(given) if len(given) >= 32 else FormKey(secrets.token_urlsafe(32), is_new=True)
        with self._store.reader() as connection:
            is_closed = is_anyone(connection)
        if is_closed:
            return Visitor("", None, Proof.NOTHING, key, address)
        if self._reach.is_local(scope, host):
            return Visitor(LOCAL_NAME, Role.OPERATOR, Proof.PLACE, key, address)
        raise Problem(403, NO_USER, ADD_USER)

    def _by_token(self, kind: str, secret: str, address: str) -> Visitor:
        found = user_of_token(self._store, secret, self._clock()) if kind.lower() == "bearer" else None
        if found is None:
            remedy = "make one with slipledger user token SITE NAME; send it as Authorization: Bearer TOKEN"
            raise Problem(401, "That token is not known, or holds no longer.", remedy, _ADD_LOGIN)
        user, role = found
        return Visitor(user.name, role, Proof.TOKEN, FormKey("", is_new=True), address)

    def _turn_away(self, scope: Scope) -> None:
        path = scope["path"]
        if path == "/metrics" and self._reach.is_local(scope, Headers(scope=scope).get("host", "")):
            return
        if path.startswith(JSON_PATHS):
            remedy = "log in at /login, or send Authorization: Bearer TOKEN"
            raise Problem(401, "This is answered to those who are logged in.", remedy, _ADD_LOGIN)
        query = scope["query_string"].decode("latin-1")
        asked = quote(path) + (f"?{query}" if query else "")
        where = f"{LOGIN_PATH}?next={quote(asked, safe='')}" if scope["method"] == "GET" else LOGIN_PATH
        raise Problem(303, "This is for those who are logged in.", "log in at /login", {"location": where})

    def _check_own(self, scope: Scope, visitor: Visitor, body: bytes) -> None:
        """Refuse a change that another site may have sent in the visitor's name."""
        headers = Headers(scope=scope)
        is_program = visitor.proof is Proof.TOKEN
        if not is_program and not self._is_own_origin(headers):
            raise Problem(403, "Another site sent this.", "open the page here and do it there")
        kind = headers.get("content-type", "").partition(";")[0].strip().lower()
        if scope["path"].startswith("/api/"):
            # Another site's page cannot send JSON here: the browser would ask first, and is not answered.
            if kind != "application/json":
                raise Problem(415, "This takes JSON.", "send it as application/json")
            return
        if kind != _FORM_TYPE:
            raise Problem(415, "This takes a form.", f"send it as {_FORM_TYPE}")
        try:
            fields = parse_qs(body.decode(), max_num_fields=_LONGEST_FIELDS)
        except ValueError:
            raise Problem(400, "The form cannot be read.", "open the page and send it anew") from None
        if not is_program and not is_own_form(visitor, fields.get(FORM_FIELD, [""])[0]):
            raise Problem(
                403, "The form is not from here, or too old.", "open the page again and send it anew"
            )

    def _is_own_origin(self, headers: Headers) -> bool:
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
        own = self._reach.origin(headers.get("host", ""))
        return origin in (None, own) and site in ("none", "same-origin")

    def _with_cookie(self, send: Send, visitor: Visitor) -> Send:
        key = visitor.form_key

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start" and key.is_new and key.is_used:
                written = self._cookies.written(self._cookies.form, key.key)
                MutableHeaders(scope=message).append("set-cookie", written)
            await send(message)

        return sent
