"""What the charts hold, drawn without network or browser and the same in every zone."""

import datetime as dt
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import altair as alt
import pytest
from altair.utils.schemapi import SchemaValidationError

from analytics.machine import Limits
from analytics.vocabulary import Work
from config import ServiceEntry
from service.charts import (
    CurveWords,
    as_png,
    as_svg,
    curve_chart,
    loss_chart,
    power_chart,
    slip_chart,
    span_of,
)
from service.charts.saving_chart import saving_chart

FIRST = dt.date(2025, 3, 1)
LIMITS = Limits()
SVG = "{http://www.w3.org/2000/svg}"


def rows(
    days: int = 40, slip: Callable[[int], float] = lambda i: 1.0 + 0.1 * i, **values: Any
) -> list[dict[str, Any]]:
    return [
        {
            "date": FIRST + dt.timedelta(days=i),
            "slip_pct": slip(i),
            **{
                f"slip_ref{end}_pct": slip(i) + off
                for end, off in (("", 0.0), ("_low", -0.5), ("_high", 0.6))
            },
            **{
                f"drag_ref{end}_pct": 0.1 * i + off
                for end, off in (("", 0.0), ("_low", -0.5), ("_high", 0.6))
            },
            "cause": "none",
            "is_healthy_period": i < 10,
            "motor_kw": 4.0 + 0.01 * i,
            "healthy_kw": 4.0,
            **values,
        }
        for i in range(days)
    ]


def entry(work: Work, day: int) -> ServiceEntry:
    values = dict.fromkeys(ServiceEntry.model_fields)
    return ServiceEntry.model_validate(
        {**values, "fan": "F", "date": FIRST + dt.timedelta(days=day), "work": work, "row": 2}
    )


def words(svg: str) -> list[str]:
    return ["".join(text.itertext()) for text in ET.fromstring(svg).iter(f"{SVG}text")]


CHARTS: dict[str, Callable[..., alt.LayerChart]] = {
    "slip": lambda drawn, services=(): slip_chart(drawn, LIMITS, services),
    "loss": lambda drawn, services=(): loss_chart(drawn, LIMITS, services),
    "power": lambda drawn, services=(): power_chart(drawn, services),
}


@pytest.mark.parametrize("name", CHARTS)
def test_a_chart_is_whole_as_svg_and_png_and_says_itself_in_words(name: str) -> None:
    chart = CHARTS[name](rows(), [entry(Work.RETENSIONED, 20)])
    svg = as_svg(chart)
    assert "retensioned" in words(svg)
    assert "9 Apr 2025" in str(chart.to_dict()["description"])
    png = as_png(chart)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("count", [0, 1])
def test_a_chart_of_no_day_or_one_is_drawn(name: str, count: int) -> None:
    assert ET.fromstring(as_svg(CHARTS[name](rows(count)))).tag == f"{SVG}svg"


def test_the_slip_chart_shows_limits_the_last_value_and_the_healthy_period() -> None:
    said = words(as_svg(slip_chart(rows(), LIMITS)))
    assert {"watch 3", "act 5", "4.9", "healthy period"} <= set(said)


def days_held(chart: alt.LayerChart) -> tuple[str, str]:
    held = [one for values in chart.to_dict()["datasets"].values() for one in values]
    days = [one[name] for one in held for name in ("date", "end") if name in one]
    return min(days), max(days)


def test_the_charts_of_a_fan_hold_the_same_days_so_that_they_stand_one_under_another() -> None:
    nothing = {name: None for name in rows(1)[0] if name.endswith(("_pct", "_kw"))}
    forecast = {
        "forecast_of": "slip",
        "forecast_limit_pct": 5.0,
        "forecast_on": dt.date(2025, 4, 20),
        "forecast_earliest": dt.date(2025, 4, 14),
        "forecast_latest": dt.date(2025, 5, 2),
    }
    drawn = [{**row, **nothing} for row in rows(7)] + rows(40)[7:]
    drawn[-1] |= forecast
    charts = (
        slip_chart(drawn, LIMITS),
        loss_chart(drawn, LIMITS),
        power_chart(drawn[7:], days=span_of(drawn)),
    )
    assert {days_held(chart) for chart in charts} == {("2025-03-01", "2025-05-02")}


def test_a_lost_drive_is_named_and_leaves_the_scale_alone() -> None:
    drawn = [*rows(30), *({**row, "cause": "drive_lost", "slip_ref_pct": 100.0} for row in rows(40)[30:])]
    svg = as_svg(slip_chart(drawn, LIMITS))
    assert "drive lost" in words(svg)
    assert "100" not in words(svg)


def test_days_not_judged_are_dashed_and_no_line_bridges_a_silence() -> None:
    known = rows(60)
    gap = [*known[:20], *known[40:]]
    spec = slip_chart(gap, LIMITS).to_dict()
    held = [one for layer in spec["layer"] for one in layer.get("data", {}).get("values", [])]
    held += [one for values in spec.get("datasets", {}).values() for one in values]
    pieces = {one["piece"] for one in held if "piece" in one}
    assert pieces == {0, 1}


def test_the_svg_passes_the_strictest_content_policy_and_follows_the_pages_colours() -> None:
    svg = as_svg(slip_chart(rows(), LIMITS, [entry(Work.GREASED, 5)]))
    assert not re.search(r"\sstyle=", svg)
    assert "<script" not in svg
    assert "var(--ink)" in svg
    assert not re.findall(r'"(#[0-9a-fA-F]{3,8})"', svg)
    assert set(re.findall(r'https?://[^"\s]+', svg)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


def test_who_does_not_see_it_is_told_once_and_markup_stays_a_word() -> None:
    chart = slip_chart(rows(), LIMITS).properties(description='<script>"x"</script>')
    root = ET.fromstring(as_svg(chart))
    assert (root.get("role"), root.get("aria-label")) == ("img", '<script>"x"</script>')


@pytest.mark.long
def test_the_drawing_is_the_same_wherever_the_machine_stands() -> None:
    program = (
        "from tests.service.charts.test_charts import *; import hashlib; "
        "print(hashlib.sha256(as_svg(slip_chart(rows(), LIMITS)).encode()).hexdigest())"
    )
    root = Path(__file__).parents[3]
    seen = {
        subprocess.run(
            [sys.executable, "-c", program],
            cwd=root,
            env={**os.environ, "TZ": zone},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for zone in ("UTC", "America/Denver", "Pacific/Auckland")
    }
    assert len(seen) == 1


def test_every_chart_keeps_to_the_schema_which_no_drawing_checks_again() -> None:
    curve = [{"x": 0.1 * i, "y": 1.0, "low": 0.9, "high": 1.1} for i in range(5)]
    moved = [{"x": 0.3, "y": 1.0, "word": "2 %"}]
    periods = [("before", FIRST), ("after", FIRST + dt.timedelta(days=1))]
    days = [{"date": on, "period": name, "measured_kw": 4.0, "adjusted_kw": 4.2} for name, on in periods]
    drawn = [chart(rows(), [entry(Work.RETENSIONED, 20)]) for chart in CHARTS.values()]
    drawn += [curve_chart(curve, curve, moved, CurveWords("airflow", "pressure", "F-1")), saving_chart(days)]
    for chart in drawn:
        chart.to_dict(validate=True)
    with pytest.raises(SchemaValidationError):
        alt.Chart(alt.InlineData(values=curve)).mark_line(strokeWidth="thick").to_dict(validate=True)
