"""`slipledger alert`: the open alerts, their history, and what people say of them."""

import datetime as dt
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from service.alerts import OpenAlert
    from service.store import Store

_ONE = "--acknowledge, --shelve-until, --take-up and --close exclude each other; give one of them"


def alert(
    site: SiteArgument,
    *,
    number: Annotated[
        int | None, typer.Option(help="An alert, by its number in the list.", show_default=False)
    ] = None,
    fan: Annotated[str | None, typer.Option(help="The alerts of one fan.", show_default=False)] = None,
    acknowledge: Annotated[bool, typer.Option("--acknowledge", help="Somebody has it in hand.")] = False,
    shelve_until: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="Set it aside up to a day, that day included.", show_default=False),
    ] = None,
    take_up: Annotated[bool, typer.Option("--take-up", help="Nobody has it in hand any more.")] = False,
    close: Annotated[bool, typer.Option("--close", help="End it, for the reason in the note.")] = False,
    by: Annotated[str, typer.Option(metavar="WHO", help="Who says so.", show_default=False)] = "",
    note: Annotated[str, typer.Option(help="Why, in one line.", show_default=False)] = "",
) -> None:
    """List open alerts, show a history, or say who has one in hand."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    wanted = [acknowledge, shelve_until is not None, take_up, close]
    if sum(wanted) > 1:
        raise typer.BadParameter(_ONE)
    until = _date(shelve_until)
    declared = load_site(site)
    if fan is not None and fan not in declared.fan_names:
        raise typer.BadParameter(f"there is no fan {fan!r} in fans.csv", param_hint="--fan")
    with open_store(declared, waiting=say_who_writes) as store:
        if not any(wanted):
            _print(store, number, fan)
            return
        with store.working("alert"):
            chosen = _chosen(store, number, fan)
            now = dt.datetime.now(dt.UTC)  # after the wait
            said = _say(store, chosen, until, by, note, now, is_taken_up=take_up, is_closed=close)
    print(f"Alert {chosen} {said}.", file=sys.stderr)


def _say(
    store: "Store",
    number: int,
    until: dt.date | None,
    by: str,
    note: str,
    now: dt.datetime,
    *,
    is_taken_up: bool,
    is_closed: bool,
) -> str:
    from service import alerts  # noqa: PLC0415 - kept out of --help

    if until is not None:
        alerts.shelve(store, number, until, by, note, now)
        return f"is set aside until {until}"
    if is_taken_up:
        alerts.take_up(store, number, by, note, now)
        return "is in nobody's hand"
    if is_closed:
        alerts.close(store, number, by, note, now)
        return "is over"
    alerts.acknowledge(store, number, by, note, now)
    return f"is in hand: {by}"


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


def _date(text: str | None) -> dt.date | None:
    try:
        return None if text is None else dt.date.fromisoformat(text)
    except ValueError:
        remedy = f"{text!r} is no date; write it as 2025-07-31"
        raise typer.BadParameter(remedy, param_hint="--shelve-until") from None
