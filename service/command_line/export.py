"""`slipledger export`: the tables as CSV."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from service.command_line.arguments import SiteArgument, known_fan
from service.command_line.whole_file import whole_file

if TYPE_CHECKING:
    import pandas as pd

    from config import SiteFolder
    from service.store import Store

    # Yields the table as CSV in parts, the first one with its header; a fan's rows only where one is named.
    Table = Callable[[SiteFolder, Store, str | None], Iterator[str]]

_ROWS_AT_ONCE: Final = 1 << 14


def export(
    site: SiteArgument,
    table: Annotated[
        str, typer.Argument(metavar="TABLE", help="daily, alerts, readings or intake.", show_default=False)
    ],
    *,
    fan: Annotated[str | None, typer.Option(metavar="FAN", help="One fan alone.", show_default=False)] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write there, not to stdout.", show_default=False)
    ] = None,
) -> None:
    """Write a table as CSV."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from config.faults import advice  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    tables: dict[str, Table] = {
        "daily": _daily,
        "alerts": _alerts,
        "readings": _readings,
        "intake": _intake,
    }
    if table not in tables:
        remedy = advice(table, list(tables), f"name one of {', '.join(tables)}")
        raise typer.BadParameter(f"there is no table {table!r}; {remedy}", param_hint="TABLE")
    declared = load_site(site)
    if fan is not None:
        known_fan(declared, fan)
    with open_store(declared) as store:
        _write(tables[table](declared, store, fan), out)


def _write(parts: "Iterator[str]", out: Path | None) -> None:
    """Write a table part by part."""
    if out is None:
        for part in parts:
            sys.stdout.write(part)
        return
    with whole_file(out) as file:
        for part in parts:
            file.write(part.encode("utf-8"))


def _readings(site: "SiteFolder", store: "Store", fan: str | None) -> "Iterator[str]":
    from service.command_line.csv_text import csv_text  # noqa: PLC0415 - kept out of --help
    from service.intake import readings_by_fan  # noqa: PLC0415 - kept out of --help

    for place, part in enumerate(readings_by_fan(site, store, fan)):
        if place == 0:
            yield part.to_csv(index=False)
        yield from csv_text(part)


def _intake(_site: "SiteFolder", store: "Store", fan: str | None) -> "Iterator[str]":
    from service.intake import export_intake  # noqa: PLC0415 - kept out of --help

    if fan is not None:
        raise typer.BadParameter("the intake ledger is by file, not by fan", param_hint="--fan")
    yield from _parts(export_intake(store))


def _daily(_site: "SiteFolder", store: "Store", fan: str | None) -> "Iterator[str]":
    from service.assess import export_daily  # noqa: PLC0415 - kept out of --help

    yield from _parts(export_daily(store, fan))


def _alerts(_site: "SiteFolder", store: "Store", fan: str | None) -> "Iterator[str]":
    from service.alerts import export_alerts  # noqa: PLC0415 - kept out of --help

    yield from _parts(export_alerts(store, fan))


def _parts(rows: "pd.DataFrame") -> "Iterator[str]":
    yield rows.iloc[:0].to_csv(index=False)
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        yield rows.iloc[start : start + _ROWS_AT_ONCE].to_csv(index=False, header=False)
