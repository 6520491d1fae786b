"""`slipledger new-site`: a commented site folder to fill in."""

from pathlib import Path
from typing import Annotated

import typer


def new_site(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Where to write the folder.", show_default=False)
    ],
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="The site's name; else the folder's.")
    ] = None,
    timezone: Annotated[
        str,
        typer.Option(
            metavar="ZONE", help="The zone of the wall clocks in the exports, for example America/Denver."
        ),
    ] = "UTC",
) -> None:
    """Write a commented site folder to fill in.

    Nothing that is there is overwritten.
    """
    from config.templates import FILES, write_templates  # noqa: PLC0415 - kept out of --help

    present = [file for file in FILES if (folder / file).exists()]
    if present:
        raise typer.BadParameter(f"{folder} already holds {', '.join(present)}; name another folder.")
    if folder.exists() and not folder.is_dir():
        raise typer.BadParameter(f"{folder} is a file; name a folder.")
    _refuse_unknown_zone(timezone)
    write_templates(folder, name or folder.resolve().name or "New site", timezone)
    print(f"Wrote {folder}: {', '.join(FILES)} and drop/.")
    print(
        f"Fill in site.toml and fans.csv, put exports into {folder / 'drop'}, then: slipledger check {folder}"
    )


def _refuse_unknown_zone(timezone: str) -> None:
    from zoneinfo import available_timezones  # noqa: PLC0415 - reads the whole time-zone database

    from config.faults import advice  # noqa: PLC0415 - kept out of --help

    known = available_timezones()
    if timezone not in known:
        remedy = advice(timezone, sorted(known), "write its database name, for example America/Denver")
        raise typer.BadParameter(f"{timezone!r} is not a time zone; {remedy}", param_hint="--timezone")
