"""Stand at an address until told to stop."""

import contextlib
import datetime as dt
import signal
import socket
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Final

import uvicorn

from config.folder import SiteFolder
from service.failure import WorkFailed
from service.store import Store
from service.web.app import web_app
from service.web.guard import is_loopback

_GRACE_S: Final = 3


class _Server(uvicorn.Server):
    """A server that leaves the signals to `_ended_politely`: the one that stops it is not raised again."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture none."""
        yield


@contextlib.contextmanager
def _ended_politely(server: _Server, ending: Callable[[], None]) -> Iterator[None]:
    """Stop a server at Ctrl-C and at a polite kill, which then count as work done."""

    def told(number: int, frame: FrameType | None) -> None:
        ending()
        server.handle_exit(number, frame)

    kept = {sig: signal.signal(sig, told) for sig in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for sig, handler in kept.items():
            signal.signal(sig, handler)


def check_bind(bind: str) -> str | None:
    """Say why an address is not served, if it can be reached from elsewhere."""
    if is_loopback(bind):
        return None
    return (
        f"{bind} can be reached from other machines, and there are no logins yet; "
        "bind 127.0.0.1, ::1 or localhost, and reach it from afar through ssh -L"
    )


def listen(bind: str, port: int) -> socket.socket:
    """Take an address (port 0: any free one); raise WorkFailed where it cannot be had."""
    family = socket.AF_INET6 if ":" in bind else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((bind, port))
        listener.listen()
    except OSError as error:
        listener.close()
        remedy = "stop what uses it, or name another with --port"
        raise WorkFailed(f"{bind} port {port}: {error.strerror or error}; {remedy}") from None
    return listener


def serve(
    site: SiteFolder,
    store: Store,
    listener: socket.socket,
    bind: str,
    *,
    say: Callable[[str], None],
    clock: Callable[[], dt.datetime],
    ending: Callable[[], None] = lambda: None,
) -> None:
    """Serve a site on a listening socket until Ctrl-C; say the address once it answers.

    `ending` is told of the stop at once, before the last answers are given.
    """
    port = listener.getsockname()[1]
    app = web_app(site, store, bind=bind, port=port, clock=clock)
    settings = uvicorn.Config(
        app,
        access_log=False,
        log_level="warning",
        log_config=None,
        proxy_headers=False,
        server_header=False,
        ws="none",
        lifespan="off",
        timeout_graceful_shutdown=_GRACE_S,
    )
    host = f"[{bind}]" if ":" in bind else bind
    server = _Server(settings)
    with listener, _ended_politely(server, ending):
        say(f"{site.site.name} is served at http://{host}:{port}/ until Ctrl-C.")
        server.run(sockets=[listener])
