"""How much and how long a request may be, and how long an answer may take."""

import asyncio
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.problem import Problem, refuse

LARGEST_BODY: Final = 64 * 1024  # a form, or a service entry with a long note
LONGEST_BODY_S: Final = 10.0
LONGEST_TARGET: Final = 8192
BUDGET_S: Final = 30.0  # for all that a page does, not for each of its parts


class Bounds:
    """Reads a request's body whole, within its size and its time, and answers in time, if only to say no."""

    def __init__(self, app: ASGIApp, *, body_s: float = LONGEST_BODY_S, budget_s: float = BUDGET_S) -> None:
        """Bound an application."""
        self._app = app
        self._body_s = body_s
        self._budget_s = budget_s
        self._late: set[asyncio.Task[None]] = set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with its body, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        if len(scope["raw_path"] or b"") + len(scope["query_string"]) > LONGEST_TARGET:
            await refuse(
                Problem(414, "The address is too long.", "ask for less at once"), scope["path"], send
            )
            return
        if scope["method"] == "POST":
            body = await self._body(scope, receive)
            if isinstance(body, Problem):
                await refuse(body, scope["path"], send)
                return
            receive = replayed(body, receive)
        await self._within_budget(scope, receive, send)

    async def _body(self, scope: Scope, receive: Receive) -> bytes | Problem:
        headers = {name.lower(): value for name, value in scope["headers"]}
        if headers.get(b"content-encoding", b"identity") != b"identity":
            return Problem(415, "A packed body is not unpacked.", "send it as it is")
        too_large = Problem(
            413, f"More than {LARGEST_BODY // 1024} kB are sent.", "send less, in several requests"
        )
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or int(length[:12]) > LARGEST_BODY:
            return too_large
        try:
            async with asyncio.timeout(self._body_s):
                body = await _read(receive)
        except TimeoutError:
            return Problem(408, f"The request was not there within {self._body_s:.3g} s.", "send it again")
        return too_large if body is None else body

    async def _within_budget(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun, is_late = False, False

        async def unless_late(message: Message) -> None:
            nonlocal begun
            if not is_late:
                begun = True
                await send(message)

        task = asyncio.create_task(self._run(scope, receive, unless_late))
        try:
            done, _ = await asyncio.wait({task}, timeout=self._budget_s)
            if not done and begun:
                await task  # it is being sent: how fast is the visitor's affair
            elif not done:
                is_late = True
                self._late.add(task)  # a thread cannot be stopped; what it still says is not heard
                task.add_done_callback(self._late.discard)
                remedy = "ask for fewer fans or days, or again when the machine has less to do"
                said = f"This took longer than {self._budget_s:.3g} s."
                await refuse(Problem(503, said, remedy), scope["path"], send)
            else:
                task.result()
        except asyncio.CancelledError:
            task.cancel()
            raise

    async def _run(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self._app(scope, receive, send)


async def _read(receive: Receive) -> bytes | None:
    """Return the body, None where it is too large."""
    parts: list[bytes] = []
    size = 0  # counted on: a body may come a byte at a time
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return b"".join(parts)
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > LARGEST_BODY:
            return None
        if not message.get("more_body", False):
            return b"".join(parts)


def replayed(body: bytes, receive: Receive) -> Receive:
    """Return what hands a body out that has been read already."""
    waiting = [body]

    async def given() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return given
