"""Logging in and out."""

import re
from typing import Annotated, Final

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from service.access import begin_attempt, begin_session, end_attempt, end_session
from service.access.attempts import WINDOW
from service.access.sessions import LONGEST
from service.web.desk import Desk
from service.web.door import Cookies
from service.web.paper import page
from service.web.reach import Reach
from service.web.routes import LOGIN_PATH
from service.web.visitor import visitor_of

# An address of these pages alone: "//elsewhere" and "/\\elsewhere" are other hosts to a browser.
_HERE: Final = re.compile(r"/(?![/\\])[\x21-\x5b\x5d-\x7e]*")
_WRONG: Final = "The name and the password do not belong together."


def login_routes(desk: Desk, reach: Reach) -> APIRouter:
    """Return the routes."""
    router = APIRouter(include_in_schema=False)
    cookies = Cookies(reach)

    @router.get(LOGIN_PATH)
    def _ask(next: str = "/") -> Response:  # noqa: A002 - the word in the address
        return _asked(desk, next, "")

    @router.post(LOGIN_PATH)
    def _log_in(
        request: Request,
        name: Annotated[str, Form()] = "",
        password: Annotated[str, Form()] = "",
        next: Annotated[str, Form()] = "/",  # noqa: A002 - the word in the form
    ) -> Response:
        at = desk.clock()
        attempt = begin_attempt(desk.store, name, visitor_of(request).address, at)
        if attempt is None:
            return _too_many(desk, next)
        user = end_attempt(desk.store, attempt, name, password)
        if user is None:
            return _asked(desk, next, _WRONG, 401)
        with desk.store.writer() as connection:
            secret = begin_session(connection, user, at)
        answer = RedirectResponse(_here(next), 303)
        seconds = int(LONGEST.total_seconds())
        answer.headers.append("set-cookie", cookies.written(cookies.session, secret, seconds))
        return answer

    @router.post("/logout")
    def _log_out(request: Request) -> Response:
        end_session(desk.store, request.cookies.get(cookies.session, ""))
        answer = RedirectResponse(LOGIN_PATH, 303)
        answer.headers.append("set-cookie", cookies.written(cookies.session, "", 0))
        return answer

    return router


def _asked(desk: Desk, wanted: str, refusal: str, status: int = 200) -> Response:
    return page("login.html", status, site=desk.site.site, next=_here(wanted), refusal=refusal)


def _too_many(desk: Desk, wanted: str) -> Response:
    minutes = int(WINDOW.total_seconds() // 60)
    answer = _asked(desk, wanted, f"Those were too many tries. Wait {minutes} minutes, then try again.", 429)
    answer.headers["retry-after"] = str(60 * minutes)
    return answer


def _here(wanted: str) -> str:
    return wanted if _HERE.fullmatch(wanted) else "/"
