"""The outermost layer: who is answered at all, and the headers that every answer carries."""

import ipaddress
import json
import re
from collections.abc import Iterable
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.problem import Problem

LOOPBACK_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")
JSON_PATHS: Final = ("/api/", "/health", "/metrics", "/openapi.json")
# What a proxy adds. Without users there is no one to let in from afar, so nothing may stand between.
FORWARDING: Final = (b"forwarded", b"x-real-ip", b"via", b"true-client-ip", b"x-client-ip")
HEADERS: Final = {
    b"content-security-policy": (
        b"default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
        b"base-uri 'none'; frame-ancestors 'none'"
    ),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    b"referrer-policy": b"no-referrer",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), geolocation=(), microphone=()",
}
_HOST: Final = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::(\d{1,5}))?")


def is_loopback(bind: str) -> bool:
    """Tell whether an address can be reached from this machine alone."""
    if bind == "localhost":
        return True
    try:
        return ipaddress.ip_address(bind).is_loopback
    except ValueError:
        return False


class Guard:
    """Answers only this machine, only reading; sets the headers of every answer, errors and HEAD too.

    A web page elsewhere can make a browser here ask for `evil.example` and have that name point at this
    machine: the Host header then still says `evil.example`, which is why it is checked.
    """

    def __init__(self, app: ASGIApp, bind: str, port: int) -> None:
        """Guard an application reached at an address."""
        self._app = app
        own = f"[{bind}]" if ":" in bind else bind
        self._names = frozenset((*LOOPBACK_NAMES, own.lower()))
        self._port = port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it in one sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        is_head = scope["method"] == "HEAD"
        guarded = _with_headers(send, is_page=not scope["path"].startswith("/static/"), is_head=is_head)
        refusal = self._refusal(scope)
        if refusal is not None:
            await _refuse(refusal, scope["path"], guarded)
            return
        # A HEAD is a GET without its body, on every route alike.
        await self._app({**scope, "method": "GET"} if is_head else scope, receive, guarded)

    def _refusal(self, scope: Scope) -> Problem | None:
        names = [name.lower() for name, _ in scope["headers"]]
        if any(name in FORWARDING or name.startswith(b"x-forwarded-") for name in names):
            message = "A header says that a proxy stands between: only this machine itself is answered."
            return Problem(403, message, "open the address on the machine that serves it, or through ssh -L")
        refusal = self._wrong_host([value for name, value in scope["headers"] if name.lower() == b"host"])
        if refusal is None and scope["method"] not in ("GET", "HEAD"):
            return Problem(405, "These pages are read-only.", "ask with GET or HEAD")
        return refusal

    def _wrong_host(self, hosts: Iterable[bytes]) -> Problem | None:
        said = list(hosts)
        match = _HOST.fullmatch(said[0].decode("latin-1").lower()) if len(said) == 1 else None
        remedy = f"open http://localhost:{self._port}/ on the machine that serves it"
        if match is None:
            return Problem(400, "The request does not say which host it wants.", remedy)
        name, port = match.groups()
        if name not in self._names or (port is not None and int(port) != self._port):
            return Problem(421, "This is not the host the request wants.", remedy)
        return None


def _with_headers(send: Send, *, is_page: bool, is_head: bool) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [(name, value) for name, value in message["headers"] if name.lower() not in HEADERS]
            caching = b"no-store" if is_page else b"no-cache"
            message = {**message, "headers": [*kept, *HEADERS.items(), (b"cache-control", caching)]}
        elif message["type"] == "http.response.body" and is_head:
            message = {**message, "body": b""}
        await send(message)

    return guarded


async def _refuse(problem: Problem, path: str, send: Send) -> None:
    if path.startswith(JSON_PATHS):
        kind, body = b"application/json", json.dumps(problem.as_json()).encode()
    else:
        sentence = f"{problem.message} {problem.remedy[0].upper()}{problem.remedy[1:]}.\n"
        kind, body = b"text/plain; charset=utf-8", sentence.encode()
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    if problem.status == 405:
        headers.append((b"allow", b"GET, HEAD"))
    await send({"type": "http.response.start", "status": problem.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
