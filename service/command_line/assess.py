"""`slipledger assess`: the ledger and its alerts, up to date."""

import datetime as dt
import shlex
import sys
from typing import Annotated

import typer

from service.command_line.arguments import SiteArgument


def assess(
    site: SiteArgument,
    *,
    as_of: Annotated[
        str | None,
        typer.Option(
            "--as-of",
            metavar="WHEN",
            help="As if nothing had come after this date or time; default: the last reading.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Bring every fan's daily ledger and alerts up to date."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.alerts import keep_alerts, open_alerts  # noqa: PLC0415 - kept out of --help
    from service.assess import assess as bring_up_to_date  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.instants import instant_of  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    now = None
    if as_of is not None:
        try:
            now = instant_of(as_of, declared.site.zone)
        except ValueError:
            remedy = "write a date as 2025-05-31 or a time as 2025-05-31T14:00"
            raise typer.BadParameter(
                f"{as_of!r} is no date or time; {remedy}", param_hint="--as-of"
            ) from None
    with open_store(declared, waiting=say_who_writes) as store, store.working("assess"):
        moved = bring_up_to_date(declared, store, now)
        keep_alerts(declared, store, dt.datetime.now(dt.UTC))
        alerts = len(open_alerts(store))
    count = f"{len(moved)} of {len(declared.fan_names)} fans"
    if as_of is None:
        print(f"{count} brought up to date.")
    else:
        print(
            f"{count} judged as of {as_of}: no later day is in the ledger until assess runs without --as-of."
        )
    if alerts:
        are_open = "1 alert is open" if alerts == 1 else f"{alerts} alerts are open"
        folder = shlex.quote(str(site))
        print(
            f"{are_open}: slipledger alert {folder}; what to do: slipledger digest {folder}", file=sys.stderr
        )
