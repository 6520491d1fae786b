"""`slipledger log`: enter service done."""

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from config import ServiceEntry, SiteFolder

_WORDS = "retensioned, belt_replaced, aligned, greased, inspected ..."


def log(
    site: SiteArgument,
    *,
    fan: Annotated[
        str | None, typer.Option(metavar="FAN", help="The fan, as fans.csv names it.", show_default=False)
    ] = None,
    work: Annotated[
        str | None, typer.Option(metavar="WORK", help=f"What was done: {_WORDS}", show_default=False)
    ] = None,
    from_file: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE", help="Sheets of the round, filled in.", show_default=False),
    ] = None,
    date: Annotated[
        str | None,
        typer.Option(metavar="YYYY-MM-DD", help="The day; else today at the site.", show_default=False),
    ] = None,
    time: Annotated[
        str | None, typer.Option(metavar="HH:MM", help="The time there.", show_default=False)
    ] = None,
    role: Annotated[
        str | None,
        typer.Option(
            metavar="ROLE", help="Which sensor was calibrated: airflow, pressure ...", show_default=False
        ),
    ] = None,
    motor_rpm: Annotated[
        str | None,
        typer.Option(metavar="RPM", help="Motor speed by tachometer or strobe.", show_default=False),
    ] = None,
    fan_rpm: Annotated[
        str | None, typer.Option(metavar="RPM", help="Wheel speed read with it.", show_default=False)
    ] = None,
    speed: Annotated[
        str | None,
        typer.Option(metavar="VALUE", help="The speed point's value at that time.", show_default=False),
    ] = None,
    no_load_a: Annotated[
        str | None, typer.Option(metavar="AMPS", help="Motor amps with the belts off.", show_default=False)
    ] = None,
    note: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Anything else, in one line.", show_default=False)
    ] = None,
) -> None:
    """Enter service done: by options, or by sheets of the round.

    All is checked first and then added to service_log.csv in one step, or nothing is. The same sheet again
    adds nothing.
    """
    from config import FaultySite, load_site  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.logbook import append_service, doubt_of_pair  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    if from_file is not None:
        if fan is not None or work is not None:
            raise typer.BadParameter("--from brings fans and work of its own; leave out --fan and --work")
        _enter_sheets(load_site(site), from_file)
        return
    if fan is None or work is None:
        missing = "--fan" if fan is None else "--work"
        raise typer.BadParameter(f"{missing} is missing: name it, or a filled sheet with --from")
    declared = load_site(site)
    options = {
        "fan": fan,
        "date": date or _today(declared.site.zone),
        "time": time,
        "work": work,
        "role": role,
        "motor_rpm": motor_rpm,
        "fan_rpm": fan_rpm,
        "speed": speed,
        "no_load_a": no_load_a,
        "note": None if note is None else " ".join(note.split()),
    }
    cells = {name: text.strip() for name, text in options.items() if text is not None and text.strip()}
    try:
        with open_store(declared, waiting=say_who_writes) as store, store.working("log"):
            entry = append_service(site, cells)
    except FaultySite as faulty:
        raise FaultySite(
            replace(fault, file="slipledger log", column=f"--{fault.column}".replace("_", "-"), row=None)
            if fault.row == 0
            else fault
            for fault in faulty.faults
        ) from None
    print(_confirmation(entry))
    doubt = doubt_of_pair(declared, entry)
    if doubt is not None:
        print(doubt, file=sys.stderr)


def _enter_sheets(declared: "SiteFolder", file: Path) -> None:
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.failure import WrongInput  # noqa: PLC0415 - kept out of --help
    from service.logbook import doubt_of_pair  # noqa: PLC0415 - kept out of --help
    from service.round import enter_filled  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    if not file.is_file():
        raise WrongInput(
            f"there is no file {file}; slipledger round SITE --out round.csv writes one to fill in"
        )
    with open_store(declared, waiting=say_who_writes) as store, store.working("log"):
        entered = enter_filled(declared.path, file)
    for entry in entered.added:
        print(_confirmation(entry))
        doubt = doubt_of_pair(declared, entry)
        if doubt is not None:
            print(f"{entry.fan}: {doubt}", file=sys.stderr)
    print(entered.words, file=sys.stderr)


def _today(zone: dt.tzinfo) -> str:
    return dt.datetime.now(zone).date().isoformat()


def _confirmation(entry: "ServiceEntry") -> str:
    when = f"{entry.date}" if entry.time is None else f"{entry.date} {entry.time:%H:%M}"
    return f"Entered: {entry.fan}, {when}, {entry.work}."
