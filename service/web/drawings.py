"""The charts of a fan's page, drawn once for each state of its ledger."""

import json
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final

import altair as alt
from markupsafe import Markup

from config.units import AIRFLOW, PRESSURE
from service.charts import (
    CurveWords,
    Told,
    closer,
    curve_chart,
    loss_chart,
    power_chart,
    slip_chart,
    span_of,
    specification,
    svg_of,
)
from service.store.fan_picture import Curve, fan_picture
from service.store.power import daily_power
from service.web.desk import Desk
from service.web.fan_view import FanPage

_KEPT: Final = 64
_DAY: Final = Told("date", "day", is_date=True)
_ENDS: Final = (Told("low", "from, %"), Told("high", "to, %"))
Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Chart:
    """A chart as it can be drawn: its title, which group of the page it is of, its sizes, what it tells."""

    title: str
    group: str
    drawn: Callable[[Size], alt.LayerChart]
    wide: Size
    narrow: Size
    told: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A chart under its title, for a screen and for a phone, and as a specification for a closer look."""

    title: str
    group: str
    wide: Markup
    narrow: Markup
    closer: Markup


class Drawings:
    """Draws a fan's charts and keeps the latest ones; they are drawn anew when its rows are others."""

    def __init__(self, desk: Desk) -> None:
        """Begin with none."""
        self._desk = desk
        self._kept: OrderedDict[tuple[Any, ...], tuple[Drawing, ...]] = OrderedDict()
        self._lock = Lock()

    def of(self, found: FanPage) -> tuple[Drawing, ...]:
        """Return the charts of a fan's page, none before its first row."""
        if not found.rows:
            return ()
        services = tuple(one.entry for one in found.services)
        key = (found.fan.fan, found.version, found.epoch.limits, services, found.corrected)
        with self._lock:
            if key not in self._kept:
                charts = [*self._through_time(found), *self._own_picture(found)]
                self._kept[key] = tuple(_drawing(chart) for chart in charts)
                if len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
            return self._kept[key]

    def _through_time(self, found: FanPage) -> list[_Chart]:
        services = [one.entry for one in found.services]
        rows, limits = found.rows, found.epoch.limits
        first, last = rows[0]["date"], rows[-1]["date"]
        again = [(one.first, one.last) for one in found.corrected]
        power = daily_power(self._desk.site, self._desk.store, found.fan.fan, first, last)

        def timed(title: str, drawn: Callable[[Size], alt.LayerChart], *told: Told) -> _Chart:
            return _Chart(title, "time", drawn, (880, 230), (290, 190), (_DAY, *told))

        charts = []
        if found.epoch.machine.drive.can_slip:
            slip = timed(
                "Slip",
                lambda size: slip_chart(rows, limits, services, size, again),
                Told("slip", "slip, %"),
                *_ENDS,
            )
            charts.append(slip)
        loss = timed(
            "Drive loss beside slip, above the healthy period",
            lambda size: loss_chart(rows, limits, services, size, again),
            Told("rise", "rise, %"),
            *_ENDS,
        )
        charts.append(loss)
        if power:
            told = Told("motor", "measured, kW"), Told("healthy", "expected, kW")
            drawn = timed(
                "Motor power, expected and measured",
                lambda size: power_chart(power, services, size, span_of(rows)),
                *told,
            )
            charts.append(drawn)
        return charts

    def _own_picture(self, found: FanPage) -> list[_Chart]:
        picture = fan_picture(self._desk.site, self._desk.store, found.fan.fan, found.rows[-1]["date"])
        if picture is None:
            return []
        units = self._desk.site.site.units
        flow, pressure = AIRFLOW[units.airflow].scale, PRESSURE[units.pressure].scale
        across = f"airflow at full speed, {units.airflow}"
        charts = []
        if picture.pressure_pa is not None:
            words = CurveWords(across, f"pressure at full speed, {units.pressure}", "Pressure")
            charts.append(_curve("Pressure over airflow", picture.pressure_pa, words, flow, pressure))
        if picture.torque is not None:
            words = CurveWords(across, "motor torque at full speed, % of rated", "Motor torque")
            charts.append(_curve("Torque over airflow", picture.torque, words, flow, 0.01))
        return charts


def _curve(title: str, curve: Curve, words: CurveWords, flow: float, scale: float) -> _Chart:
    healthy = [
        {"x": x / flow, "y": y / scale, "low": low / scale, "high": high / scale}
        for x, y, low, high in zip(
            curve.airflow_m3s.tolist(),
            curve.healthy.tolist(),
            curve.low.tolist(),
            curve.high.tolist(),
            strict=True,
        )
    ]
    airflows, values = curve.hour_airflow_m3s.tolist(), curve.hours.tolist()
    hours = [{"x": x / flow, "y": y / scale} for x, y in zip(airflows, values, strict=True)]
    moved = [
        {"x": x / flow, "y": y / scale, "slip": slip, "word": f"{100 * slip:.0f} % slip" if slip else "tight"}
        for x, y, slip in zip(
            curve.moved_airflow_m3s.tolist(), curve.moved.tolist(), curve.slips, strict=True
        )
    ]
    told = Told("x", words.across), Told("y", words.up)
    return _Chart(
        title,
        "curve",
        lambda size: curve_chart(healthy, hours, moved if hours else [], words, size),
        (410, 270),
        (290, 230),
        told,
    )


def _drawing(chart: _Chart) -> Drawing:
    # Made once: to make a chart costs more than to draw it.
    spec = specification(chart.drawn(chart.wide))
    # In a script element nothing is escaped but the sign that could end it; in a drawing every text is.
    told = json.dumps(closer(spec, chart.told)).replace("<", "\\u003c")
    wide, narrow = Markup(svg_of(spec)), Markup(svg_of(spec, chart.narrow))
    return Drawing(chart.title, chart.group, wide, narrow, Markup(told))
