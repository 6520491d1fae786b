"""`slipledger move`: the SQL state into another database."""

from typing import Annotated

import typer

from service.command_line.arguments import SiteArgument


def move(
    site: SiteArgument,
    *,
    to: Annotated[
        str,
        typer.Option(
            metavar="URL",
            help="An empty database: sqlite:///... or postgresql+psycopg://...; secrets as {env:NAME}.",
            show_default=False,
        ),
    ],
) -> None:
    """Copy the SQL state into another database, and prove it whole.

    That database is to be empty; it is proved that every row arrived. The site's own database stays as
    it is; nothing changes until site.toml names the new one.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from config.secrets import resolve_secrets  # noqa: PLC0415 - kept out of --help
    from config.site_values import check_database  # noqa: PLC0415 - kept out of --help
    from service.command_line.progress import showing_files  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help
    from service.store.moving import fill  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    try:
        check_database(to)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--to") from None
    with (
        open_store(declared, waiting=say_who_writes) as store,
        store.working("move"),
        showing_files("copying") as progress,
        store.reader() as source,
    ):
        contents = fill(source, resolve_secrets(to, declared.path), declared.path, progress)
    rows = sum(content.rows for content in contents.values())
    for name, content in contents.items():
        print(f"{name}: {content.rows} rows, sha256 {content.sha256[:16]}")
    print(f"{rows} rows copied and read back the same. The old database is as it was.")
    print(f"Next: stop `slipledger serve`, put this line into {declared.path / 'site.toml'}, start it again:")
    print(f"database = {_toml(to)}")


def _toml(text: str) -> str:
    import json  # noqa: PLC0415 - for this line alone

    return json.dumps(text, ensure_ascii=False)  # a JSON string is a TOML string
