"""`slipledger alert`: the open alerts, their history, and what people say of them."""

import datetime as dt
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from service.command_line.arguments import SiteArgument, known_fan, plant_day

if TYPE_CHECKING:
    from service.alerts import OpenAlert
    from service.store import Store

_ONE = "--acknowledge, --shelve-until, --take-up and --close exclude each other; give one of them"


def alert(
    site: SiteArgument,
    *,
    number: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", help="An alert, by its number in the list.", show_default=False),
    ] = None,
    fan: Annotated[
        str | None, typer.Option(metavar="FAN", help="The alerts of one fan.", show_default=False)
    ] = None,
    acknowledge: Annotated[bool, typer.Option("--acknowledge", help="Somebody has it in hand.")] = False,
    shelve_until: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="Set it aside up to a day, that day included.", show_default=False),
    ] = None,
    take_up: Annotated[bool, typer.Option("--take-up", help="Nobody has it in hand any more.")] = False,
    close: Annotated[bool, typer.Option("--close", help="End it, for the reason in the note.")] = False,
    by: Annotated[str, typer.Option(metavar="WHO", help="Who says so.", show_default=False)] = "",
    note: Annotated[str, typer.Option(metavar="TEXT", help="Why, in one line.", show_default=False)] = "",
) -> None:
    """List open alerts, show a history, or say who has one in hand."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service import alerts  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    if sum((acknowledge, shelve_until is not None, take_up, close)) > 1:
        raise typer.BadParameter(_ONE)
    until = None if shelve_until is None else plant_day(shelve_until, "--shelve-until")
    is_said = acknowledge or until is not None or take_up or close
    if is_said and not by.strip():
        raise typer.BadParameter("a name is needed; say who says so", param_hint="--by")
    declared = load_site(site)
    if fan is not None:
        known_fan(declared, fan)
    with open_store(declared, waiting=say_who_writes) as store:
        if not is_said:
            _print(store, number, fan)
            return
        with store.working("alert"):
            chosen = _chosen(store, number, fan)
            now = dt.datetime.now(dt.UTC)  # after the wait
            if until is not None:
                alerts.shelve(store, chosen, until, by, note, now)
                said = f"is set aside until {until}"
            elif take_up:
                alerts.take_up(store, chosen, by, note, now)
                said = "is in nobody's hand"
            elif close:
                alerts.close(store, chosen, by, note, now)
                said = "is over"
            else:
                alerts.acknowledge(store, chosen, by, note, now)
                said = f"is in hand: {by}"
    print(f"Alert {chosen} {said}.", file=sys.stderr)


def _print(store: "Store", number: int | None, fan: str | None) -> None:
    from service.alerts import history_of, open_alerts  # noqa: PLC0415 - kept out of --help
    from service.failure import WrongInput  # noqa: PLC0415 - kept out of --help

    if number is not None:
        lines = history_of(store, number)
        if not lines:
            raise WrongInput(f"there is no alert {number}; slipledger alert SITE lists those that are open")
        print("\n".join(lines))
        return
    found = open_alerts(store, fan)
    if not found:
        print("No alert is open.", file=sys.stderr)
    width = max((len(one.fan) for one in found), default=0)
    for one in found:
        print(_line(one, width))


def _line(one: "OpenAlert", width: int) -> str:
    what = f"{one.about} ({one.level})"
    return f"{one.number:>5}  {one.fan:<{width}}  {one.opened_on}  {what:<62}  {one.handling}"


def _chosen(store: "Store", number: int | None, fan: str | None) -> int:
    from service.alerts import open_alerts  # noqa: PLC0415 - kept out of --help

    if number is not None:
        return number
    found = [] if fan is None else open_alerts(store, fan)
    if len(found) != 1:
        which = "which alert is meant" if fan is None else f"which of the {len(found)} open alerts of {fan}"
        raise typer.BadParameter(f"say {which}: slipledger alert SITE lists them", param_hint="--number")
    return found[0].number
