"""The arguments and options that several commands take, and what is said where they name nothing."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from config import SiteFolder

SiteArgument = Annotated[Path, typer.Argument(metavar="SITE", help="The site's folder.", show_default=False)]


def known_fan(site: "SiteFolder", fan: str) -> str:
    """Return a fan that fans.csv names; refuse another with the names most like it."""
    from config.faults import advice  # noqa: PLC0415 - kept out of --help

    if fan not in site.fan_names:
        remedy = advice(fan, list(site.fan_names), "name a fan of fans.csv")
        raise typer.BadParameter(f"there is no fan {fan!r}; {remedy}", param_hint="--fan")
    return fan


def plant_day(text: str, option: str) -> dt.date:
    """Read a day; refuse what is none, naming the option that it was given with."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        remedy = "write a date as 2025-05-31"
        raise typer.BadParameter(f"{text!r} is no date; {remedy}", param_hint=option) from None
