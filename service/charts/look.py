"""How the charts look: a printed ledger, one ink and one accent on quiet paper, readable in grey."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

import altair as alt
from altair.utils import schemapi

from config.service_log import ServiceEntry

PAPER: Final = "#faf7f0"
INK: Final = "#26302e"
ACCENT: Final = "#8a3b12"
FAINT: Final = 0.16
# A page sets the letters it has; a PNG takes the serif that comes with the drawing library.
LETTERS: Final = "Charter, Georgia, Liberation Serif, serif"

# Each chart is defined once, and the tests hold it to the library's schema: to check every part of it at each
# drawing took a third of the time.
schemapi.disable_debug_mode()

Row = Mapping[str, Any]
_LATE_SHARE: Final = 0.7


def table(values: Sequence[Row]) -> alt.Chart:
    """Return a chart of rows that stand in it: nothing is fetched when it is drawn."""
    return alt.Chart(alt.InlineData(values=tuple(dict(value) for value in values)))


Layers = list[alt.Chart]


def layered(layers: Layers) -> alt.LayerChart:
    """Return one chart of all layers, the first at the bottom.

    They are laid over one another once: the library copies every chart again at each level of nesting.
    """
    return cast(alt.LayerChart, alt.layer(*layers))


def day(column: str = "date") -> alt.X:
    """Return the time axis: plant dates as they are written, whatever zone the drawing machine is in."""
    axis = alt.Axis(format="%-d %b", tickCount=6, labelFlush=True, grid=False, title=None)
    return alt.X(f"{column}:T", scale=alt.Scale(type="utc"), axis=axis)


def value_axis(title: str, values: Sequence[float] | None = None) -> alt.Axis:
    """Return the axis of a measured value, with hairlines to read it by."""
    lines = alt.Undefined if values is None else list(values)
    return alt.Axis(title=title, tickCount=5, grid=True, gridOpacity=0.10, gridColor=INK, values=lines)


def words(values: Sequence[Row], y: str, **mark: Any) -> Layers:
    """Return words at their place, on a rim of paper that keeps lines from running through them."""
    if not values:
        return []
    base = table(values).encode(x=day(), y=alt.Y(f"{y}:Q"), text=alt.Text("word:N"))
    rim = base.mark_text(**{**mark, "color": PAPER, "stroke": PAPER, "strokeWidth": 3})
    return [rim, base.mark_text(**{"color": INK, **mark})]


def written(iso: str) -> str:
    """Write a date as 9 Jun 2025."""
    date = dt.date.fromisoformat(iso)
    return f"{date.day} {date:%b %Y}"


def limit_lines(watch: float, act: float, first: str | None) -> Layers:
    """Return both limits across the chart, each named over its line at the `first` date there is."""
    layers: Layers = []
    for name, value, dash in (("watch", watch, [6, 3, 1, 3]), ("act", act, [6, 3])):
        rule = table([{"limit": value}]).mark_rule(color=ACCENT, strokeWidth=1, strokeDash=dash)
        layers.append(rule.encode(y=alt.Y("limit:Q")))
        word = [] if first is None else [{"date": first, "limit": value, "word": f"{name} {value:g}"}]
        # Side by side: where the scale is long the two lines lie close.
        aside = 2 if name == "act" else 36
        layers += words(word, "limit", align="left", baseline="bottom", dx=aside, dy=-2, color=ACCENT)
    return layers


def last_value(drawn: Sequence[Row], column: str) -> Layers:
    """Return the last value: a filled spot and its number."""
    # Adding nothing turns a negative nothing into plain nothing.
    last = [{**one, "word": f"{round(one[column], 1) + 0.0:.1f}"} for one in drawn[-1:]]
    spot = table(last).mark_point(color=INK, filled=True, size=28, opacity=1.0)
    number = words(last, column, align="left", dx=6, fontWeight="bold")
    return [spot.encode(x=day(), y=alt.Y(f"{column}:Q")), *number]


def visits(
    services: Sequence[ServiceEntry], first: dt.date, last: dt.date, top: float, bottom: float = 0.0
) -> Layers:
    """Return the marks of service entries: a dotted line through the chart and the work in words at its top.

    Neighbours take turns between two lines of words; late ones are written to the left of their date.
    """
    shown = sorted((one for one in services if first <= one.date <= last), key=lambda one: one.date)
    values = [
        {
            "date": entry.date.isoformat(),
            "word": entry.work.value.replace("_", " "),
            "top": top,
            "low": bottom,
            "is_late": (entry.date - first).days > _LATE_SHARE * (last - first).days,
            "line": 13 * (place % 2),
        }
        for place, entry in enumerate(shown)
    ]
    lines = table(values).mark_rule(color=INK, strokeWidth=1.0, strokeDash=[1, 2])
    lines = lines.encode(x=day(), y=alt.Y("low:Q"), y2=alt.Y2("top:Q"))
    layers: Layers = [lines] if values else []
    for is_late in (False, True):
        for shift in (0, 13):
            chosen = [one for one in values if one["is_late"] is is_late and one["line"] == shift]
            aside = {"align": "right", "dx": -4} if is_late else {"align": "left", "dx": 4}
            layers += words(chosen, "top", baseline="top", dy=4 + shift, fontStyle="italic", **aside)
    return layers


def corrected(spans: Sequence[tuple[dt.date, dt.date]], at: float) -> Layers:
    """Return the mark of days that were read again after they had been judged: a broken bar, named once."""
    values = [{"date": a.isoformat(), "end": b.isoformat(), "at": at, "word": "corrected"} for a, b in spans]
    if not values:
        return []
    bar = table(values).mark_rule(color=ACCENT, strokeWidth=4, strokeDash=[3, 2])
    bar = bar.encode(x=day(), x2=alt.X2("end:T"), y=alt.Y("at:Q"))
    last = values[-1:]
    return [bar, *words(last, "at", align="right", baseline="bottom", dx=-2, dy=-5, color=ACCENT)]


def framed(chart: alt.LayerChart, size: tuple[int, int], description: str) -> alt.LayerChart:
    """Return a chart in the look of the ledger, with what it shows in words for those who do not see it."""
    width, height = size
    described = chart.properties(width=width, height=height, description=description)
    lettered = described.configure(background=PAPER, font=LETTERS, padding=8)
    axis: dict[str, Any] = {f"{part}Color": INK for part in ("domain", "label", "tick", "title")}
    return cast(
        alt.LayerChart,
        lettered.configure_view(stroke=None)
        .configure_mark(aria=False)
        .configure_text(fontSize=11)
        .configure_axis(
            **axis,
            domainWidth=1,
            grid=False,
            labelFontSize=11,
            tickSize=4,
            titleFontSize=11,
            titleFontWeight="normal",
        ),
    )
