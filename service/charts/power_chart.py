"""Motor power by day: what was measured against what the healthy drive would have needed for the same air."""

from collections.abc import Sequence
from typing import Any, Final

import altair as alt

from config.service_log import ServiceEntry
from service.charts.ahead import Span, spanning
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
    visits,
    words,
    written,
)

_KEY: Final = "•  measured     —  expected of the healthy drive, same air"


def power_chart(
    rows: Sequence[Row],
    services: Sequence[ServiceEntry] = (),
    size: tuple[int, int] = (560, 150),
    days: Span | None = None,
) -> alt.LayerChart:
    """Draw one fan's motor shaft power by day: measured, expected of the healthy drive, their difference.

    Parameters: `rows` in order of date with `date`, `motor_kw` and `healthy_kw` at the same airflow and
    pressure, as `service.store.power.daily_power` gives them; `services` of that fan; `size` in points;
    `days` that the time axis is to hold, those of the rows where None.
    """
    values = [
        {"date": row["date"].isoformat(), "motor": row["motor_kw"], "healthy": row["healthy_kw"]}
        for row in rows
        if row["motor_kw"] is not None and row["healthy_kw"] is not None
    ]
    # Not from zero: what is to be seen is a tenth of it.
    bottom = 0.7 * min((min(one["motor"], one["healthy"]) for one in values), default=0.0)
    top = 1.25 * max((max(one["motor"], one["healthy"]) for one in values), default=1.0)
    scale = alt.Scale(domain=[bottom, top], nice=False, zero=False)
    y = alt.Y("healthy:Q", scale=scale, axis=value_axis("motor shaft power, kW"))
    base = table(values).encode(x=day())
    key = [{"date": one["date"], "at": bottom, "word": _KEY} for one in values[:1]]
    layers: Layers = [
        base.mark_rule(color=ACCENT, strokeWidth=1.2).encode(y=y, y2=alt.Y2("motor:Q")),
        base.mark_tick(color=INK, thickness=1.2, width=5, orient="horizontal").encode(y=y),
        base.mark_point(color=ACCENT, filled=True, size=12, opacity=1.0).encode(y=alt.Y("motor:Q")),
        *words(key, "at", align="left", baseline="bottom", dx=2, dy=-4, fontStyle="italic"),
    ]
    if values:
        layers += spanning(days)
        layers += visits(services, rows[0]["date"], rows[-1]["date"], top, bottom)
    return framed(layered(layers), size, _described(values))


def _described(values: Sequence[dict[str, Any]]) -> str:
    if not values:
        return "Motor shaft power by day: no judged day."
    last = values[-1]
    measured, expected = f"{last['motor']:.2f} kW measured", f"{last['healthy']:.2f} kW expected"
    return (
        f"Motor shaft power by day from {written(values[0]['date'])} to {written(last['date'])}; on the last "
        f"day {measured}, {expected} of the healthy drive for the same air."
    )
