"""Slip at the reference torque through time, held against its limits."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import altair as alt

from analytics.machine import Limits
from analytics.vocabulary import Cause
from config.service_log import ServiceEntry
from service.charts.ahead import ahead, forecast_words_of, span_of, spanning
from service.charts.look import (
    ACCENT,
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
    words,
    written,
)

_GAP_DAYS: Final = 14
_HEADROOM: Final = 1.4


def slip_chart(
    rows: Sequence[Row],
    limits: Limits,
    services: Sequence[ServiceEntry] = (),
    size: tuple[int, int] = (560, 190),
    again: Sequence[tuple[dt.date, dt.date]] = (),
) -> alt.LayerChart:
    """Draw one fan's slip: its line, the central 95 % about it, both limits, the work done on it.

    Parameters: `rows` of the ledger in order of date, with the columns of `daily`; `limits`; `services` of
    that fan, those outside the rows' dates are left out; `size` of the drawing in points; `again` the
    days read again after they were judged. Days not judged
    carry the last value and are drawn in dashes; a lost drive is a bar at the top, off the scale.
    """
    lost = [row for row in rows if row["cause"] == Cause.DRIVE_LOST]
    known = [row for row in rows if row["slip_ref_pct"] is not None and row["cause"] != Cause.DRIVE_LOST]
    latest = None if lost or not known else known[-1]
    top = _top(known, limits)
    drawn = _drawn(known, top)
    y = alt.Y("slip:Q", scale=alt.Scale(domain=[0, top], nice=False), axis=_axis(top))
    carried = table(drawn).mark_line(color=INK, strokeWidth=0.8, strokeDash=[2, 2])
    judged = table([one for one in drawn if one["is_judged"]]).mark_line(color=INK, strokeWidth=1.6)
    first = rows[0]["date"].isoformat() if rows else None
    layers: Layers = [
        table(drawn)
        .mark_area(color=INK, opacity=FAINT)
        .encode(x=day(), y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), detail="piece:N"),
        *limit_lines(limits.slip_watch_pct, limits.slip_act_pct, first),
        carried.encode(x=day(), y=y, detail="piece:N"),
        judged.encode(x=day(), y=y, detail="piece:N"),
        *last_value(drawn, "slip"),
        *ahead(latest, "slip", None if latest is None else latest["slip_ref_pct"]),
    ]
    if rows:
        layers += spanning(span_of(rows))
        layers += visits(services, rows[0]["date"], rows[-1]["date"], top)
        layers += corrected(again, 0.0)
        layers += [*_healthy(known), *_lost(lost, top)]
    described = _described(known, limits, is_lost=bool(lost)) + forecast_words_of(latest, "slip")
    return framed(layered(layers), size, described)


def _top(known: Sequence[Row], limits: Limits) -> float:
    highest = max((row["slip_ref_pct"] for row in known), default=0.0)
    widest = max((row["slip_ref_high_pct"] for row in known), default=0.0)
    return float(_HEADROOM * max(limits.slip_act_pct, min(widest, 1.5 * highest)))


def _axis(top: float) -> alt.Axis:
    step = 1 if top <= 8 else 2 if top <= 16 else 5 if top <= 40 else 20
    return value_axis("slip at reference torque, %", range(0, int(top) + 1, step))


def _drawn(known: Sequence[Row], top: float) -> list[dict[str, Any]]:
    """Return what is drawn of each day, numbered by piece: no line bridges a long silence."""
    piece, found, before = 0, [], None
    for row in known:
        if before is not None and (row["date"] - before).days > _GAP_DAYS:
            piece += 1
        before = row["date"]
        found.append(
            {
                "date": row["date"].isoformat(),
                "slip": row["slip_ref_pct"],
                "low": row["slip_ref_low_pct"],
                "high": min(row["slip_ref_high_pct"], top),
                "is_judged": row["slip_pct"] is not None,
                "piece": piece,
            }
        )
    return found


def _healthy(known: Sequence[Row]) -> Layers:
    """Return the healthy period: a heavy bar on the axis, with its name over it."""
    dates = [row["date"].isoformat() for row in known if row["is_healthy_period"]]
    span = [{"date": dates[0], "end": dates[-1], "at": 0.0, "word": "healthy period"}] if dates else []
    bar = table(span).mark_rule(color=INK, strokeWidth=4)
    bar = bar.encode(x=day(), x2=alt.X2("end:T"), y=alt.Y("at:Q"))
    return [bar, *words(span, "at", align="left", baseline="bottom", dx=2, dy=-5, fontStyle="italic")]


def _lost(lost: Sequence[Row], top: float) -> Layers:
    dates = [row["date"].isoformat() for row in lost]
    span = [{"date": dates[0], "end": dates[-1], "top": top, "word": "drive lost"}] if dates else []
    bar = table(span).mark_rule(color=ACCENT, strokeWidth=6)
    cross = table(span).mark_point(shape="cross", angle=45, color=ACCENT, filled=True, size=90, opacity=1.0)
    return [
        bar.encode(x=day(), x2=alt.X2("end:T"), y=alt.Y("top:Q")),
        cross.encode(x=day(), y=alt.Y("top:Q")),
        *words(span, "top", align="right", dx=-9, baseline="middle", color=ACCENT, fontWeight="bold"),
    ]


def _described(known: Sequence[Row], limits: Limits, *, is_lost: bool) -> str:
    against = f"limits: watch {limits.slip_watch_pct:g} %, act {limits.slip_act_pct:g} %"
    end = " The drive is lost since." if is_lost else ""
    if not known:
        return f"Slip at the reference torque: no judged day; {against}.{end}"
    first, last = known[0], known[-1]
    since, until = (written(row["date"].isoformat()) for row in (first, last))
    between = f"{last['slip_ref_low_pct']:.1f} to {last['slip_ref_high_pct']:.1f} %"
    return (
        f"Slip at the reference torque from {since} to {until}: from "
        f"{first['slip_ref_pct']:.1f} % to {last['slip_ref_pct']:.1f} % ({between}); {against}.{end}"
    )
