"""A healthy curve with its band, the recent hours on it, and the line along which slip moves a point."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import altair as alt

from service.charts.look import ACCENT, FAINT, INK, PAPER, Layers, framed, layered, table, value_axis

_WORD_DX: Final = 5


@dataclass(frozen=True, slots=True)
class CurveWords:
    """What a curve is called: its two axes with their units, and its subject in a sentence."""

    across: str
    up: str
    subject: str


def curve_chart(
    healthy: Sequence[dict[str, float]],
    hours: Sequence[dict[str, float]],
    moved: Sequence[dict[str, Any]],
    named: CurveWords,
    size: tuple[int, int] = (420, 260),
) -> alt.LayerChart:
    """Draw a curve.

    Parameters: `healthy` rows with `x`, `y`, `low`, `high`; `hours` rows with `x`, `y`; `moved` rows with
    `x`, `y` and `word` (the slip); `named`; `size` in points.
    """
    x = alt.X("x:Q", scale=alt.Scale(zero=False), axis=value_axis(named.across))
    y = alt.Y("y:Q", scale=alt.Scale(zero=False), axis=value_axis(named.up))
    band = table(healthy).mark_area(color=INK, opacity=FAINT)
    line = table(healthy).mark_line(color=INK, strokeWidth=1.6)
    spots = table(hours).mark_point(color=INK, filled=False, size=14, opacity=0.55, strokeWidth=0.8)
    path = table(moved).mark_line(color=ACCENT, strokeWidth=1.4)
    stops = table(moved).mark_point(color=ACCENT, filled=True, size=22, opacity=1.0)
    layers: Layers = [
        band.encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
        line.encode(x=x, y=y),
        spots.encode(x=x, y=y),
        path.encode(x=x, y=y, order=alt.Order("slip:Q")),
        stops.encode(x=x, y=y),
        *_named(moved),
    ]
    return framed(layered(layers), size, _described(hours, named))


def _named(moved: Sequence[dict[str, Any]]) -> Layers:
    if not moved:
        return []
    text = table(moved).encode(x=alt.X("x:Q"), y=alt.Y("y:Q"), text=alt.Text("word:N"))
    place: dict[str, Any] = {"align": "right", "dx": -_WORD_DX, "dy": 4}
    rim = text.mark_text(color=PAPER, stroke=PAPER, strokeWidth=3, **place)
    return [rim, text.mark_text(color=ACCENT, **place)]


def _described(hours: Sequence[dict[str, float]], named: CurveWords) -> str:
    return (
        f"{named.subject} over airflow as if at full speed: the healthy curve with the band that holds 95 % "
        f"of healthy hours, {len(hours)} recent hours on it, and the line along which slip moves a point."
    )
