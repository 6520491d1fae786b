"""The rise of drive loss beside slip through time, held against its limits."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import altair as alt

from analytics.machine import Limits
from config.service_log import ServiceEntry
from service.charts.ahead import ahead, forecast_words_of, span_of, spanning
from service.charts.look import (
    FAINT,
    INK,
    Layers,
    Row,
    corrected,
    day,
    framed,
    last_value,
    layered,
    limit_lines,
    table,
    value_axis,
    visits,
    written,
)

_HEADROOM: Final = 1.25
_BELOW_PCT: Final = -2.0


def loss_chart(
    rows: Sequence[Row],
    limits: Limits,
    services: Sequence[ServiceEntry] = (),
    size: tuple[int, int] = (560, 150),
    again: Sequence[tuple[dt.date, dt.date]] = (),
) -> alt.LayerChart:
    """Draw one fan's rise of drive loss beside slip, the central 95 % about it, both limits, the work done.

    Parameters: `rows` of the ledger in order of date, with the columns of `daily`; `limits`; `services` of
    that fan; `size` of the drawing in points; `again` the days read again after they
    were judged. The band is cut at the frame.
    """
    known = [row for row in rows if row["drag_ref_pct"] is not None]
    latest = known[-1] if known else None
    values = [row["drag_ref_pct"] for row in known]
    bottom = 1.5 * min([_BELOW_PCT, *values])
    top = _HEADROOM * max([limits.drive_loss_rise_act_pct, *values])
    drawn = [
        {
            "date": row["date"].isoformat(),
            "rise": row["drag_ref_pct"],
            "low": max(row["drag_ref_low_pct"], bottom),
            "high": min(row["drag_ref_high_pct"], top),
        }
        for row in known
    ]
    axis = value_axis("rise of drive loss, %")
    y = alt.Y("rise:Q", scale=alt.Scale(domain=[bottom, top], nice=False), axis=axis)
    first = drawn[0]["date"] if drawn else None
    layers: Layers = [
        table(drawn)
        .mark_area(color=INK, opacity=FAINT)
        .encode(x=day(), y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
        table([{"zero": 0.0}]).mark_rule(color=INK, strokeWidth=0.6).encode(y=alt.Y("zero:Q")),
        *limit_lines(limits.drive_loss_rise_watch_pct, limits.drive_loss_rise_act_pct, first),
        table(drawn).mark_line(color=INK, strokeWidth=1.6).encode(x=day(), y=y),
        *last_value(drawn, "rise"),
        *ahead(latest, "drag", None if latest is None else latest["drag_ref_pct"]),
    ]
    if rows:
        layers += spanning(span_of(rows))
        layers += visits(services, rows[0]["date"], rows[-1]["date"], top)
        layers += corrected(again, bottom)
    described = _described(drawn, limits) + forecast_words_of(latest, "drag")
    return framed(layered(layers), size, described)


def _described(drawn: Sequence[dict[str, Any]], limits: Limits) -> str:
    against = (
        f"limits: watch {limits.drive_loss_rise_watch_pct:g} %, act {limits.drive_loss_rise_act_pct:g} %"
    )
    if not drawn:
        return f"Rise of drive loss beside slip: no judged day; {against}."
    first, last = drawn[0], drawn[-1]
    return (
        f"Rise of drive loss beside slip from {written(first['date'])} to {written(last['date'])}: now "
        f"{last['rise']:.1f} % of the reference torque; {against}."
    )
