"""`slipledger restore`: a site from a backup."""

from pathlib import Path
from typing import Annotated

import typer


def restore(
    backup: Annotated[Path, typer.Argument(metavar="BACKUP", help="The file.", show_default=False)],
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A folder that is empty or not there.", show_default=False),
    ],
    *,
    database: Annotated[
        str | None,
        typer.Option(
            metavar="URL", help="An empty database in place of the one in site.toml.", show_default=False
        ),
    ] = None,
    readings: Annotated[
        str | None,
        typer.Option(
            metavar="WHERE",
            help="A place for the readings in place of the one in site.toml.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Make a site from a backup, in an empty folder.

    All of it is made, or nothing.
    """
    from config.site_values import check_database  # noqa: PLC0415 - kept out of --help
    from service.assess.hours_upkeep import keep_hours  # noqa: PLC0415 - kept out of --help
    from service.command_line.progress import showing_files  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.store.restore import restore as make_site  # noqa: PLC0415 - kept out of --help

    if database is not None:
        try:
            check_database(database)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--database") from None
    with showing_files("restoring") as progress:
        site = make_site(backup, folder.absolute(), database, readings, progress)
    with open_store(site) as store, store.working("restore"):
        keep_hours(site, store)  # left out of the backup, for they are made from the readings
    print(f"Restored {site.site.name} into {folder}: {len(site.fan_names)} fans.")
    print(
        f"Exports that came after the backup have to be in its sources again; then: slipledger pull {folder}"
    )
