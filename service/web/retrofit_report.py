"""The two pages of a retrofit check: what its page shows, and one HTML file that needs nothing else."""

from importlib.resources import files
from typing import Any, Final

from markupsafe import Markup

from config.folder import SiteFolder
from service.charts.drawing import specification, svg_of
from service.charts.saving_chart import saving_chart
from service.retrofit import (
    Asked,
    Retrofit,
    command_of,
    daily_power,
    equal_words,
    readings_command,
    verdict_words,
)
from service.web.paper import written
from service.words import CAUTION

_STYLES: Final = ("ledger.css", "retrofit.css")
_WIDE: Final = (780, 190)
_NARROW: Final = (290, 170)


def report_told(site: SiteFolder, told: Retrofit, asked: Asked, name: str) -> dict[str, Any]:
    """Return what the report's template wants; `name` of the site in the command that repeats the check."""
    days = daily_power(told)
    spec = specification(saving_chart(days, _WIDE)) if days else None
    charts = [] if spec is None else [Markup(svg_of(spec, size)) for size in (_WIDE, _NARROW)]
    return {
        "site": site.site,
        "told": told,
        "figures": told.figures,
        "year": told.year,
        "charts": charts,
        "verdict": verdict_words(told),
        "equal": equal_words(told),
        "command": command_of(name, asked),
        "readings": readings_command(name, asked.fan),
        "caution": CAUTION,
    }


def retrofit_report(site: SiteFolder, told: Retrofit, asked: Asked, name: str) -> str:
    """Write the report of a check as one file, to be opened or printed anywhere."""
    folder = files("service.web").joinpath("static")
    styles = "\n".join(folder.joinpath(one).read_text(encoding="utf-8") for one in _STYLES)
    return written("retrofit_file.html", styles=Markup(styles), **report_told(site, told, asked, name))
