"""The forecast in a chart: the way to the next limit at this pace, and the span in which it is reached."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import altair as alt

from service.charts.look import INK, Layers, Row, day, table, words, written

Span = tuple[dt.date, dt.date]

# Where the limit may not be reached at all, the span is drawn this much longer than the way to it, open.
_OPEN_SHARE: Final = 0.5


def ahead(row: Row | None, kind: str, value: float | None) -> Layers:
    """Return the layers of a row's forecast, none where it forecasts nothing of that kind.

    Parameters: `row` of the ledger, the latest judged one; `kind` slip or drag; `value` it stands at.
    """
    if row is None or value is None or row.get("forecast_on") is None or row["forecast_of"] != kind:
        return []
    on, earliest = row["forecast_on"], row["forecast_earliest"] or row["forecast_on"]
    latest = _end(row)
    limit = row["forecast_limit_pct"]
    start = {"date": row["date"].isoformat(), "value": value}
    end = {"date": on.isoformat(), "value": limit}
    span: dict[str, Any] = {"date": earliest.isoformat(), "end": latest.isoformat(), "value": limit}
    way = table([start, end]).mark_line(color=INK, strokeWidth=1.2, strokeDash=[1, 3])
    width = table([span]).mark_rule(color=INK, strokeWidth=5, opacity=0.35)
    spot = table([end]).mark_point(color=INK, filled=False, size=36, opacity=1.0)
    named = [{**end, "word": f"about {written(end['date'])}"}]
    y = alt.Y("value:Q")
    return [
        way.encode(x=day(), y=y),
        width.encode(x=day(), x2=alt.X2("end:T"), y=y),
        spot.encode(x=day(), y=y),
        *words(named, "value", align="right", baseline="top", dx=4, dy=8, fontStyle="italic"),
    ]


def span_of(rows: Sequence[Row]) -> Span:
    """Return the days that every chart of a fan through time shows, so that they stand one under another.

    Parameters: `rows` of the ledger in order of date, one at least. Returns: the first row's date, and the
    last one's or the end of the latest judged row's forecast.
    """
    judged = next((row for row in reversed(rows) if row["drag_ref_pct"] is not None), None)
    ends = [] if judged is None or judged.get("forecast_on") is None else [_end(judged)]
    return rows[0]["date"], max([rows[-1]["date"], *ends])


def spanning(days: Span | None) -> Layers:
    """Return the layer that stretches the time axis over some days, whatever is drawn on it."""
    if days is None:
        return []
    ends = table([{"date": one.isoformat()} for one in days])
    return [ends.mark_rule(opacity=0.0).encode(x=day())]


def _end(row: Row) -> dt.date:
    """Return where the drawing of a row's forecast ends."""
    on: dt.date = row["forecast_on"]
    latest: dt.date | None = row["forecast_latest"]
    return latest or on + dt.timedelta(days=round(_OPEN_SHARE * (on - row["date"]).days))


def forecast_words_of(row: Row | None, kind: str) -> str:
    """Say for those who do not see a chart when its forecast reaches the limit, blank without one."""
    if row is None or row.get("forecast_on") is None or row["forecast_of"] != kind:
        return ""
    on = written(row["forecast_on"].isoformat())
    return f" At this pace it reaches {row['forecast_limit_pct']:g} % about {on}."
