"""A chart as SVG or PNG, drawn in this process: no browser, no network."""

import re
from html import escape
from typing import Any, Final

import altair as alt
import vl_convert

from service.charts.look import ACCENT, INK, PAPER

# On a page the three colours follow the page's own, so that one drawing serves light, dark and print.
_ON_PAGE: Final = {INK: "var(--ink)", ACCENT: "var(--accent)", PAPER: "var(--paper)"}
_STYLE: Final = re.compile(r' style="[^"]*"')
# Coordinates come with the digits of a double; a tenth of a dot is less than any screen shows.
_PLACES: Final = re.compile(r' (?:d|transform|x1|x2|y1|y2|width|height)="[^"]*"')
_DIGITS: Final = re.compile(r"(\.\d)\d+")


def as_svg(chart: alt.LayerChart) -> str:
    """Return a chart as an SVG element for a page that sets --ink, --accent and --paper.

    It carries no style attribute and no script, so the strictest content security policy lets it through.
    """
    return svg_of(specification(chart))


def svg_of(spec: dict[str, Any], size: tuple[int, int] | None = None) -> str:
    """Return a chart's specification as such an SVG element, in another size where one is given."""
    if size is not None:
        spec = {**spec, "width": size[0], "height": size[1]}
    text: str = vl_convert.vegalite_to_svg(spec, allowed_base_urls=[])
    label = escape(str(spec.get("description", "")))
    text = _STYLE.sub("", text).replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1)
    text = _PLACES.sub(lambda found: _DIGITS.sub(r"\1", found[0]), text)
    for colour, name in _ON_PAGE.items():
        text = text.replace(f'"{colour}"', f'"{name}"')
    return text


def as_png(chart: alt.LayerChart, scale: float = 2.0) -> bytes:
    """Return a chart as a PNG; `scale` dots a point of its size."""
    return bytes(vl_convert.vegalite_to_png(specification(chart), scale=scale, allowed_base_urls=[]))


def specification(chart: alt.LayerChart) -> dict[str, Any]:
    """Return a chart as plain data; its parts were checked as they were made."""
    spec: dict[str, Any] = chart.to_dict(validate=False)
    return spec
