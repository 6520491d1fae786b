"""The outermost layer: which hosts are answered at all, and the headers that every answer carries."""

import re
from collections.abc import Iterable
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.problem import Problem, refuse
from service.web.reach import Reach

HEADERS: Final = {
    b"content-security-policy": (
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
        b"base-uri 'none'; frame-ancestors 'none'"
    ),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    b"referrer-policy": b"same-origin",  # with no-referrer a browser posts our own forms from origin null
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), geolocation=(), microphone=()",
}
# Encrypted once, encrypted from then on; two years as RFC 6797, section 14.2, calls long-lived.
_ENCRYPTED_ONLY: Final = (b"strict-transport-security", b"max-age=63072000")
_HOST: Final = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::(\d{1,5}))?")


class Guard:
    """Answers only under its own names; sets the headers of every answer, errors and HEAD too.

    A web page elsewhere can make a browser here ask for `evil.example` and have that name point at this
    machine: the Host header then still says `evil.example`, which is why it is checked.
    """

    def __init__(self, app: ASGIApp, reach: Reach) -> None:
        """Guard an application reached at an address."""
        self._app = app
        self._reach = reach
        self._hosts = reach.hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it in one sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        is_head = scope["method"] == "HEAD"
        is_page = not scope["path"].startswith("/static/")
        guarded = self._with_headers(send, is_page=is_page, is_head=is_head)
        refusal = self._wrong_host([value for name, value in scope["headers"] if name.lower() == b"host"])
        if refusal is not None:
            await refuse(refusal, scope["path"], guarded)
            return
        # A HEAD is a GET without its body, on every route alike.
        await self._app({**scope, "method": "GET"} if is_head else scope, receive, guarded)

    def _wrong_host(self, hosts: Iterable[bytes]) -> Problem | None:
        said = list(hosts)
        match = _HOST.fullmatch(said[0].decode("latin-1").lower()) if len(said) == 1 else None
        where = "" if self._reach.public_url else " on the machine that serves it"
        local = f"http{'s' if self._reach.is_encrypted else ''}://localhost:{self._reach.port}/"
        remedy = f"open {self._reach.public_url or local}{where}"
        if match is None:
            return Problem(400, "The request does not say which host it wants.", remedy)
        name, port = match.groups()
        if (None if port is None else int(port)) not in self._hosts.get(name, ()):
            return Problem(421, "This is not the host the request wants.", remedy)
        return None

    def _with_headers(self, send: Send, *, is_page: bool, is_head: bool) -> Send:
        set_here = dict(HEADERS)
        if self._reach.is_secure:
            set_here |= [_ENCRYPTED_ONLY]

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = [(name, value) for name, value in message["headers"] if name.lower() not in set_here]
                if not any(name.lower() == b"cache-control" for name, _ in kept):
                    kept.append((b"cache-control", b"no-store" if is_page else b"no-cache"))
                message = {**message, "headers": [*kept, *set_here.items()]}
            elif message["type"] == "http.response.body" and is_head:
                message = {**message, "body": b""}
            await send(message)

        return guarded
