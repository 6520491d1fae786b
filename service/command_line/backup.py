"""`slipledger backup`: all that a site remembers, in one file, while it runs."""

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from service.command_line.arguments import SiteArgument


def backup(
    site: SiteArgument,
    *,
    to: Annotated[
        Path,
        typer.Option(
            metavar="DIR",
            help="A folder, made if need be, for a file named by its time; or a file's name in .tar.",
            show_default=False,
        ),
    ],
) -> None:
    """Write all that a site remembers into one file.

    Pulls and judgements go on meanwhile. It holds the site's files, its database, its readings and
    every export kept; no secret, no export that was not pulled yet.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.command_line.progress import showing_files  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.store.backup import back_up  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    place = to.absolute()
    if not place.parent.is_dir():
        raise typer.BadParameter(f"there is no folder {place.parent}", param_hint="--to")
    if place.suffix != ".tar":
        if place.exists() and not place.is_dir():
            raise typer.BadParameter(
                f"{place} is a file; name a folder, or a name in .tar", param_hint="--to"
            )
        place.mkdir(exist_ok=True)
    with open_store(declared) as store, showing_files("keeping") as progress:
        done = back_up(declared, store, place, lambda: dt.datetime.now(dt.UTC), progress)
    print(
        f"Wrote {done.path}: {done.rows} rows, {done.exports} exports, {done.files_of_readings} files of "
        f"readings, {done.size} bytes."
    )
