"""`slipledger digest`: the weekly mail, printed, written as a file or sent."""

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.command_line.arguments import SiteArgument
from service.command_line.whole_file import whole_file

if TYPE_CHECKING:
    from config import SiteFolder
    from service.mail import Week
    from service.store import Store


def digest(
    site: SiteArgument,
    *,
    week: Annotated[
        str | None,
        typer.Option(
            metavar="WEEK", help="An ISO week, 2025-W20; default: the last whole one.", show_default=False
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it as a mail file (.eml).", show_default=False),
    ] = None,
    send: Annotated[bool, typer.Option("--send", help="Send it to everyone it is meant for, once.")] = False,
) -> None:
    """Print the weekly mail, write it as a file or send it."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.mail import text_of, weekly_digest  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    if send and out is not None:
        raise typer.BadParameter("--out writes a file and --send sends it; give one of them")
    declared = load_site(site)
    if send and (declared.site.mail is None or not declared.site.mail.weekly):
        raise typer.BadParameter(
            "site.toml names nobody to send it to: write [mail] with from, weekly and smtp",
            param_hint="--send",
        )
    with open_store(declared, waiting=say_who_writes) as store:
        wanted = _week(week, declared, store)
        if send:
            with store.working("weekly mail"):
                _send(declared, store, wanted)
        elif out is not None:
            _write(declared, store, wanted, out)
        else:
            print(text_of(weekly_digest(declared, store, wanted)), end="")


def _week(text: str | None, site: "SiteFolder", store: "Store") -> "Week":
    from service.failure import WorkFailed  # noqa: PLC0415 - kept out of --help
    from service.mail import Week, last_whole_week  # noqa: PLC0415 - kept out of --help

    if text is not None:
        try:
            return Week.parse(text)
        except ValueError as error:
            remedy = "write an ISO week as 2025-W20"
            raise typer.BadParameter(f"{error}; {remedy}", param_hint="--week") from None
    span = store.reading_span()
    if span is None:
        raise WorkFailed("there are no readings yet; pull first, or name a week with --week")
    return last_whole_week(span[1], site.site.zone)


def _write(site: "SiteFolder", store: "Store", week: "Week", out: Path) -> None:
    from service.mail import as_file  # noqa: PLC0415 - kept out of --help

    with whole_file(out) as file:
        file.write(as_file(site, store, week))


def _send(site: "SiteFolder", store: "Store", week: "Week") -> None:
    from service.failure import WorkFailed  # noqa: PLC0415 - kept out of --help
    from service.mail import send_weekly  # noqa: PLC0415 - kept out of --help

    delivery = send_weekly(site, store, week, clock=lambda: dt.datetime.now(dt.UTC))
    for recipient in delivery.sent:
        print(f"{week} sent to {recipient}.", file=sys.stderr)
    for recipient in delivery.sent_before:
        print(f"{week} had been sent to {recipient} before; nothing was sent again.", file=sys.stderr)
    if delivery.refused:
        told = "; ".join(f"{recipient}: {reason}" for recipient, reason in delivery.refused)
        raise WorkFailed(f"not sent to {told}; it stays in the outbox, and --send tries it again")
