"""Stand at an address until told to stop."""

import contextlib
import datetime as dt
import signal
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Final

import uvicorn

from config.folder import SiteFolder
from service.failure import WorkFailed
from service.store import Store
from service.web.app import web_app
from service.web.patience import PatientProtocol
from service.web.reach import Reach, is_loopback

_GRACE_S: Final = 3
_KEEP_ALIVE_S: Final = 10
_CONNECTIONS: Final = 200


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


@dataclass(frozen=True, slots=True)
class Transport:
    """How what is served goes over the wire: encrypted here, by a proxy before it, or not at all."""

    certificate: Path | None = None
    key: Path | None = None
    is_behind_proxy: bool = False

    @property
    def is_encrypted(self) -> bool:
        """Whether this process encrypts."""
        return self.certificate is not None


PLAIN: Final = Transport()


def check_bind(bind: str, transport: Transport = PLAIN, public_url: str = "") -> str | None:
    """Say why an address is not served, if others could read what goes over the wire, or reach it unseen."""
    if (transport.certificate is None) != (transport.key is None):
        return "give both --tls-cert and --tls-key, or neither"
    if transport.is_behind_proxy and transport.is_encrypted:
        return "--behind-proxy leaves the encryption to the proxy; leave --tls-cert and --tls-key out"
    if transport.is_behind_proxy and not public_url:
        return (
            "--behind-proxy needs the address that people open: "
            'write public_url = "https://..." under [web] in site.toml'
        )
    for file in (transport.certificate, transport.key):
        if file is not None and not file.is_file():
            return f"there is no file {file}"
    if is_loopback(bind) or transport.is_behind_proxy or transport.is_encrypted:
        return None
    return (
        f"{bind} can be reached from other machines, and nothing would be encrypted; give --tls-cert and "
        "--tls-key, or --behind-proxy with a proxy that encrypts, or bind 127.0.0.1, ::1 or localhost and "
        "reach it from afar through ssh -L"
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
    transport: Transport = PLAIN,
    ending: Callable[[], None] = lambda: None,
) -> None:
    """Serve a site on a listening socket until Ctrl-C; say the address once it answers.

    `ending` is told of the stop at once, before the last answers are given.
    """
    port = listener.getsockname()[1]
    app = web_app(
        site,
        store,
        bind=bind,
        port=port,
        clock=clock,
        is_behind_proxy=transport.is_behind_proxy,
        is_encrypted=transport.is_encrypted,
    )
    settings = uvicorn.Config(
        app,
        http=PatientProtocol,
        access_log=False,
        log_level="warning",
        log_config=None,
        proxy_headers=False,
        server_header=False,
        ws="none",
        lifespan="off",
        timeout_graceful_shutdown=_GRACE_S,
        timeout_keep_alive=_KEEP_ALIVE_S,
        limit_concurrency=_CONNECTIONS,
        ssl_certfile=transport.certificate,
        ssl_keyfile=transport.key,
    )
    reach = Reach(bind, port, site.site.web.public_url, transport.is_behind_proxy, transport.is_encrypted)
    server = _Server(settings)
    with listener, _ended_politely(server, ending):
        say(f"{site.site.name} is served at {reach.address} until Ctrl-C.")
        server.run(sockets=[listener])
