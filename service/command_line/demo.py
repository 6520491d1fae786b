"""`slipledger demo`: the demo campus, pulled, judged and shown."""

import datetime as dt
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer


def demo(
    folder: Annotated[
        Path | None,
        typer.Argument(
            metavar="DIR", help="Where to build it; default: a temporary folder.", show_default=False
        ),
    ] = None,
    *,
    serve: Annotated[bool, typer.Option("--serve/--no-serve", help="Serve the pages afterwards.")] = True,
) -> None:
    """Build the demo campus, judge it, print the fleet and serve it."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from demo_trends import write_campus  # noqa: PLC0415 - kept out of --help
    from service.alerts import keep_alerts  # noqa: PLC0415 - kept out of --help
    from service.assess import assess  # noqa: PLC0415 - kept out of --help
    from service.command_line.fleet_table import fleet_table  # noqa: PLC0415 - kept out of --help
    from service.command_line.progress import showing_files  # noqa: PLC0415 - kept out of --help
    from service.command_line.serve import (  # noqa: PLC0415 - kept out of --help
        DEFAULT_BIND,
        DEFAULT_PORT,
        serve_site,
    )
    from service.intake import pull  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.store.fleet import fleet  # noqa: PLC0415 - kept out of --help

    place = folder or Path(tempfile.mkdtemp(prefix="slipledger-demo-"))
    if place.exists() and any(place.iterdir()) and not (place / "site.toml").exists():
        raise typer.BadParameter(
            f"{place} holds other files; name a new or an empty folder", param_hint="DIR"
        )
    print(f"The demo campus is built in {place}", file=sys.stderr)
    write_campus(place)
    site = load_site(place)
    with open_store(site) as store:
        with showing_files("reading") as progress:
            pull(site, store, clock=lambda: dt.datetime.now(dt.UTC), progress=progress)
        print("Judging every fan, day by day ...", file=sys.stderr)
        assess(site, store)
        keep_alerts(site, store, dt.datetime.now(dt.UTC))
        print(fleet_table(fleet(site, store), site.site.currency), flush=True)
        if serve:
            serve_site(site, store, DEFAULT_BIND, DEFAULT_PORT, is_other_port_taken=True)
