"""`slipledger serve`: the worker, and the pages and the API, on this machine."""

import datetime as dt
import sys
from contextlib import nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from config import SiteFolder
    from service.store import Store
    from service.web import Transport
    from service.worker import WorkerKeeper

DEFAULT_BIND: Final = "127.0.0.1"
DEFAULT_PORT: Final = 8710


class Part(StrEnum):
    """One of the two processes."""

    WORKER = "worker"
    WEB = "web"


def serve(
    site: SiteArgument,
    *,
    bind: Annotated[str, typer.Option(metavar="ADDRESS", help="The address to listen at.")] = DEFAULT_BIND,
    port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="PORT", help="The port; 0 takes any free one.")
    ] = DEFAULT_PORT,
    only: Annotated[
        Part | None, typer.Option(help="Start one of the two processes alone.", show_default=False)
    ] = None,
    tls_cert: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A certificate chain, PEM.", show_default=False)
    ] = None,
    tls_key: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Its private key, PEM.", show_default=False)
    ] = None,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="A proxy encrypts; needs [web] public_url.")
    ] = False,
    unit: Annotated[
        bool, typer.Option("--unit", help="Print a systemd unit for this site, and serve nothing.")
    ] = False,
) -> None:
    """Run by itself and serve the pages and the API, until Ctrl-C.

    The worker pulls, assesses and writes mail; the pages and the API show what it found.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.web import Transport, check_bind  # noqa: PLC0415 - kept out of --help
    from service.worker import WorkerKeeper, log_to_stderr  # noqa: PLC0415 - kept out of --help

    transport = Transport(tls_cert, tls_key, behind_proxy)
    public_url = load_site(site).site.web.public_url if behind_proxy else ""
    refusal = check_bind(bind, transport, public_url)
    if refusal is not None:
        raise typer.BadParameter(refusal)
    if unit:
        print(_unit(site), end="")
        return
    log_to_stderr()
    if only is Part.WORKER:
        _work(site)
        return
    declared = load_site(site)
    with open_store(declared) as store:  # migrated before either of the two begins
        keeper = None if only is Part.WEB else WorkerKeeper(site, _now)
        serve_site(declared, store, bind, port, transport=transport, beside=keeper)


def serve_site(
    site: "SiteFolder",
    store: "Store",
    bind: str,
    port: int,
    *,
    transport: "Transport | None" = None,
    beside: "WorkerKeeper | None" = None,
    is_other_port_taken: bool = False,
) -> None:
    """Serve an open site, with what runs `beside` it; where the port is in use, take another if wanted."""
    from service.failure import WorkFailed  # noqa: PLC0415 - kept out of --help
    from service.web import PLAIN, listen  # noqa: PLC0415 - kept out of --help
    from service.web import serve as serve_pages  # noqa: PLC0415 - kept out of --help

    try:
        listener = listen(bind, port)
    except WorkFailed:
        if not is_other_port_taken:
            raise
        print(f"Port {port} is in use; a free one is taken instead.", file=sys.stderr)
        listener = listen(bind, 0)
    _say_if_nobody_can_log_in(store, bind, transport or PLAIN)
    ending = (lambda: None) if beside is None else beside.end
    with beside or nullcontext():
        serve_pages(
            site,
            store,
            listener,
            bind,
            say=lambda told: print(told, flush=True),
            clock=_now,
            transport=transport or PLAIN,
            ending=ending,
        )


def _say_if_nobody_can_log_in(store: "Store", bind: str, transport: "Transport") -> None:
    from service.access import is_anyone  # noqa: PLC0415 - kept out of --help
    from service.web import is_loopback  # noqa: PLC0415 - kept out of --help

    if is_loopback(bind) and not transport.is_behind_proxy:
        return
    with store.reader() as connection:
        if is_anyone(connection):
            return
    remedy = "slipledger user add SITE NAME --role admin"
    print(f"Nobody can log in yet, so nobody from elsewhere is answered: {remedy}", file=sys.stderr)


def _unit(site: Path) -> str:
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from config.templates import systemd_unit  # noqa: PLC0415 - kept out of --help

    folder = site.resolve()
    return systemd_unit(load_site(site).site.name, folder.owner(), Path(sys.argv[0]).resolve(), folder)


def _work(site: Path) -> None:
    import threading  # noqa: PLC0415 - kept out of --help

    from service.worker import end_with_stdin, stopped_by_signals, work  # noqa: PLC0415 - kept out of --help

    stop = threading.Event()
    end_with_stdin(stop.set)
    with stopped_by_signals(stop):
        work(site, _now, stop)


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
