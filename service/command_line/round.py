"""`slipledger round`: the maintenance round, worst first."""

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from service.command_line.arguments import SiteArgument
from service.command_line.whole_file import write_whole

_FORMATS: Final = ("text", "html", "csv")
_BY_ENDING: Final = {".html": "html", ".htm": "html", ".csv": "csv", ".txt": "text"}


def round_(
    site: SiteArgument,
    *,
    date: Annotated[
        str | None,
        typer.Option(
            metavar="YYYY-MM-DD", help="As of this day; default: the ledger's last.", show_default=False
        ),
    ] = None,
    quarter: Annotated[
        str | None, typer.Option(metavar="QUARTER", help="A quarter, 2025-Q3.", show_default=False)
    ] = None,
    building: Annotated[
        str | None, typer.Option(metavar="BUILDING", help="One building alone.", show_default=False)
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write there, not to stdout.", show_default=False)
    ] = None,
    form: Annotated[
        str | None,
        typer.Option(
            "--format",
            metavar="FORMAT",
            help="text, html or csv; default: by FILE's ending.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write the maintenance round: a sheet a fan, worst first.

    It is to be read, printed or filled in; a sheet filled in as CSV comes back by slipledger log SITE
    --from FILE.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from config.faults import advice  # noqa: PLC0415 - kept out of --help
    from service.round import AsOfRefusedError, plan_round, read_as_of, round_csv, round_text  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    written = _form(form, out)
    try:
        as_of = read_as_of(date, quarter)
    except AsOfRefusedError as refused:
        raise typer.BadParameter(f"{refused}; {refused.remedy}", param_hint=f"--{refused.option}") from None
    declared = load_site(site)
    buildings = sorted({epoch.building for epoch in declared.fans if epoch.building})
    if building is not None and building not in buildings:
        remedy = advice(building, buildings, "name a building of fans.csv")
        raise typer.BadParameter(f"no fan stands in {building!r}; {remedy}", param_hint="--building")
    with open_store(declared) as store:
        planned = plan_round(declared, store, as_of, building)
    if written == "html":
        from service.web import round_file  # noqa: PLC0415 - only where asked for

        text = round_file(planned)
    else:
        text = round_csv(planned) if written == "csv" else round_text(planned)
    _write(text, out)


def _form(form: str | None, out: Path | None) -> str:
    from config.faults import advice  # noqa: PLC0415 - kept out of --help

    if form is None:
        return "text" if out is None else _by_ending(out)
    if form not in _FORMATS:
        raise typer.BadParameter(
            f"there is no format {form!r}; {advice(form, _FORMATS)}", param_hint="--format"
        )
    return form


def _by_ending(out: Path) -> str:
    found = _BY_ENDING.get(out.suffix.lower())
    if found is None:
        remedy = "end the file in .html, .csv or .txt, or say --format text, html or csv"
        raise typer.BadParameter(f"{out.name!r} does not say in which format; {remedy}", param_hint="--out")
    return found


def _write(text: str, out: Path | None) -> None:
    if out is None:
        sys.stdout.write(text)
        return
    write_whole(out, text)
