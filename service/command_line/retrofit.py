"""`slipledger retrofit`: did a change save what was promised, and how sure is that?"""

import json
from pathlib import Path
from typing import Annotated

import typer

from service.command_line.arguments import SiteArgument, known_fan
from service.command_line.whole_file import write_whole


def retrofit(
    site: SiteArgument,
    *,
    fan: Annotated[str, typer.Option(metavar="FAN", help="The fan.", show_default=False)],
    before: Annotated[
        str, typer.Option(metavar="A..B", help="Plant days before, both included.", show_default=False)
    ],
    after: Annotated[
        str, typer.Option(metavar="C..D", help="Plant days after, both included.", show_default=False)
    ],
    promised: Annotated[
        float | None,
        typer.Option(metavar="PCT", help="The saving promised, in per cent.", show_default=False),
    ] = None,
    confidence: Annotated[float, typer.Option(metavar="PCT", help="Of the interval, in per cent.")] = 90.0,
    basis: Annotated[
        str | None,
        typer.Option(
            metavar="drive|air",
            help="Equal airflow and pressure, or equal airflow alone; default: by what was changed.",
            show_default=False,
        ),
    ] = None,
    is_json: Annotated[bool, typer.Option("--json", help="Print it as JSON.")] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the report (HTML) there.", show_default=False)
    ] = None,
    hours: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the hours compared (CSV) there.", show_default=False),
    ] = None,
) -> None:
    """Hold a fan's power before and after a change at the same air."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.retrofit import (  # noqa: PLC0415 - kept out of --help
        RetrofitRefusedError,
        as_json,
        check_retrofit,
        hours_table,
        read_asked,
        sentences,
    )
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    _refuse_ending(out, "--out", (".html", ".htm"))
    _refuse_ending(hours, "--hours", (".csv",))
    declared = load_site(site)
    known_fan(declared, fan)
    try:
        asked = read_asked(fan, before, after, promised, confidence, basis)
        with open_store(declared) as store:
            told = check_retrofit(declared, store, asked)
    except RetrofitRefusedError as refused:
        raise typer.BadParameter(str(refused), param_hint=f"--{refused.option}") from None
    if hours is not None:
        write_whole(hours, hours_table(told).to_csv(index=False))
    if out is not None:
        from service.web.retrofit_report import retrofit_report  # noqa: PLC0415 - kept out of --help

        write_whole(out, retrofit_report(declared, told, asked, site.name))
    if is_json:
        print(json.dumps(as_json(told, declared.site.currency), indent=2))
    else:
        print("\n".join(sentences(told, declared.site.currency)))


def _refuse_ending(path: Path | None, option: str, endings: tuple[str, ...]) -> None:
    if path is not None and path.suffix.lower() not in endings:
        told = f"{path.name!r} would not open as what it is; end it in {endings[0]}"
        raise typer.BadParameter(told, param_hint=option)
