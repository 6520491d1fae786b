"""The two pages of a retrofit check, as one HTML file that needs nothing else."""

from collections.abc import Sequence
from importlib.resources import files
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from config.folder import SiteFolder
from service.charts.drawing import as_svg
from service.charts.saving_chart import saving_chart
from service.retrofit import Retrofit, daily_power, equal_words, verdict_words
from service.web import paper
from service.words import CAUTION

_SHEET: Final = "retrofit.css"


def retrofit_report(site: SiteFolder, told: Retrofit, command: Sequence[str]) -> str:
    """Write the report of a check; `command` is what was typed to get it, in parts that stay whole."""
    chart = "" if told.figures is None else as_svg(saving_chart(daily_power(told)))
    return _TEMPLATE.render(
        site=site.site,
        told=told,
        figures=told.figures,
        year=told.year,
        chart=chart,
        verdict=verdict_words(told),
        equal=equal_words(told),
        command=command,
        caution=CAUTION,
        sheet=files("service.web").joinpath("static", _SHEET).read_text(encoding="utf-8"),
    )


_ENVIRONMENT: Final = Environment(
    loader=PackageLoader("service.web"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.filters.update(
    one_decimal=paper.one_decimal,
    two_decimals=paper.two_decimals,
    whole=paper.whole,
    plain_date=paper.plain_date,
)
_TEMPLATE: Final = _ENVIRONMENT.get_template("retrofit.html")
