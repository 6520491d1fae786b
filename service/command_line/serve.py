"""`slipledger serve`: the pages and the API on this machine."""

import datetime as dt
import sys
from typing import TYPE_CHECKING, Annotated, Final

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from config import SiteFolder
    from service.store import Store

DEFAULT_BIND: Final = "127.0.0.1"
DEFAULT_PORT: Final = 8710


def serve(
    site: SiteArgument,
    *,
    bind: Annotated[str, typer.Option(metavar="ADDRESS", help="A loopback address.")] = DEFAULT_BIND,
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes any free one.")] = DEFAULT_PORT,
) -> None:
    """Serve the pages and the API, read-only, until Ctrl-C."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.web import check_bind  # noqa: PLC0415 - kept out of --help

    refusal = check_bind(bind)
    if refusal is not None:
        raise typer.BadParameter(refusal, param_hint="--bind")
    declared = load_site(site)
    with open_store(declared) as store:
        serve_site(declared, store, bind, port)


def serve_site(
    site: "SiteFolder", store: "Store", bind: str, port: int, *, is_other_port_taken: bool = False
) -> None:
    """Serve an open site; where the port is in use, take another one if that is wanted."""
    from service.failure import WorkFailed  # noqa: PLC0415 - kept out of --help
    from service.web import listen  # noqa: PLC0415 - kept out of --help
    from service.web import serve as serve_pages  # noqa: PLC0415 - kept out of --help

    try:
        listener = listen(bind, port)
    except WorkFailed:
        if not is_other_port_taken:
            raise
        print(f"Port {port} is in use; a free one is taken instead.", file=sys.stderr)
        listener = listen(bind, 0)
    serve_pages(
        site,
        store,
        listener,
        bind,
        say=lambda told: print(told, flush=True),
        clock=lambda: dt.datetime.now(dt.UTC),
    )
