"""How a page is written: the templates, and the words and signs that numbers take on paper."""

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import quote

from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context

from service import words
from service.web.visitor import PRESENT, form_token

MINUS: Final = "\N{MINUS SIGN}"
NOTHING: Final = "\N{EN DASH}"


def one_decimal(value: float | None) -> str:
    """Write a number with one decimal, so that a column lines up; a dash where there is none."""
    return _decimals(value, 1)


def two_decimals(value: float | None) -> str:
    """Write a number with two decimals."""
    return _decimals(value, 2)


def _decimals(value: float | None, digits: int) -> str:
    if value is None or math.isnan(value):
        return NOTHING
    text = f"{value:.{digits}f}"
    return text.replace("-", MINUS) if float(text) != 0.0 else text.removeprefix("-")


def whole(value: float | None) -> str:
    """Write a whole number with commas between the thousands, as sentences and charts write theirs."""
    if value is None or math.isnan(value):
        return NOTHING
    text = f"{value:,.0f}"
    return "0" if text in ("0", "-0") else text.replace("-", MINUS)


def plain_date(value: dt.date | None) -> str:
    """Write a date as 26 Jul 2025."""
    return NOTHING if value is None else f"{value.day} {value:%b %Y}".replace(" ", "\N{NO-BREAK SPACE}")


@pass_context
def plant_time(context: Context, value: dt.datetime | None) -> str:
    """Write an instant by the site's clock, as 26 Jul 2025, 06:05."""
    if value is None:
        return NOTHING
    local = value.astimezone(context["site"].zone)
    return f"{plain_date(local.date())},\N{NO-BREAK SPACE}{local:%H:%M}"


def age(value: dt.timedelta) -> str:
    """Write a time that has passed in the one unit that matters."""
    seconds = value.total_seconds()
    for unit, size, least in (("days", 86_400, 2), ("h", 3600, 2), ("min", 60, 2)):
        if seconds >= least * size:
            return f"{seconds / size:.0f}\N{NO-BREAK SPACE}{unit}"
    return f"{max(seconds, 0.0):.{0 if seconds >= 10 else 1}f}\N{NO-BREAK SPACE}s"


def sureness(share: float | None) -> str:
    """Write a share of the probability in words that do not claim the last per cent."""
    if share is None or math.isnan(share):
        return ""
    return words.sureness(share)


def share_pct(share: float) -> str:
    """Write a share of the probability in per cent, never as certain."""
    return "> 99" if share > 0.99 else f"{100.0 * share:.0f}"


def fan_url(fan: str) -> str:
    """Return the address of a fan's page; slashes in its name are part of the name."""
    return f"/fans/{quote(fan, safe='')}"


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("service.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        share_pct=share_pct,
        one_decimal=one_decimal,
        two_decimals=two_decimals,
        whole=whole,
        plain_date=plain_date,
        plant_time=plant_time,
        age=age,
        sureness=sureness,
        fan_url=fan_url,
    )
    environment.globals.update(form_token=form_token)
    return environment


_TEMPLATES: Final = _environment()


def page(template: str, status: int = 200, /, **told: Any) -> HTMLResponse:
    """Write a page; every template also knows the `visitor`, and `form_token()` for its forms."""
    return HTMLResponse(written(template, visitor=PRESENT.get(), **told), status)


def written(template: str, /, **told: Any) -> str:
    """Write a template that asks for no visitor, as a file does."""
    values: Mapping[str, Any] = told
    return _TEMPLATES.get_template(template).render(values)
