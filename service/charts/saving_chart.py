"""Power before and after a change, day by day, over what the arrangement before would have drawn."""

from collections.abc import Sequence
from typing import Final

import altair as alt

from service.charts.look import (
    ACCENT,
    INK,
    Layers,
    Row,
    day,
    framed,
    layered,
    table,
    value_axis,
    words,
    written,
)

_ROOM: Final = 0.03


def saving_chart(rows: Sequence[Row], size: tuple[int, int] = (600, 170)) -> alt.LayerChart:
    """Draw each day's power over the power the arrangement before would have drawn in the same air.

    Parameters: `rows` in order of date with `date`, `period`, `measured_kw`, `adjusted_kw`; `size` in points.
    """
    values = [
        {
            "date": row["date"].isoformat(),
            "period": row["period"],
            "share": 100.0 * row["measured_kw"] / row["adjusted_kw"],
        }
        for row in rows
    ]
    shares = [one["share"] for one in values] or [100.0]
    scale = alt.Scale(domain=[min(shares) - 100 * _ROOM, max(shares) + 100 * _ROOM], nice=False, zero=False)
    title = "% of what it would have drawn"
    y = alt.Y("share:Q", scale=scale, axis=value_axis(title))
    layers: Layers = []
    for name, colour in (("before", INK), ("after", ACCENT)):
        chosen = [one for one in values if one["period"] == name]
        if not chosen:
            continue
        mean = sum(one["share"] for one in chosen) / len(chosen)
        ends = [{"date": chosen[k]["date"], "share": mean} for k in (0, -1)]
        points = table(chosen).encode(x=day(), y=y)
        layers.append(points.mark_point(color=colour, filled=True, size=16, opacity=1.0))
        layers.append(table(ends).encode(x=day(), y=y).mark_line(color=colour, strokeWidth=1.4))
        top = max(one["share"] for one in chosen)
        label = [{"date": chosen[0]["date"], "share": top, "word": f"{name}, mean {mean:.1f} %"}]
        layers += words(label, "share", align="left", baseline="bottom", dx=6, dy=-5, fontStyle="italic")
    return framed(layered(layers), size, _described(values))


def _described(values: Sequence[Row]) -> str:
    if not values:
        return "Power over the adjusted power by day: no day."
    first, last = written(str(values[0]["date"])), written(str(values[-1]["date"]))
    return (
        f"Power by day over what the arrangement before would have drawn in the same air, {first} to {last}."
    )
