"""The charts of a fan's page, drawn once for each state of its ledger."""

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final

import altair as alt
from markupsafe import Markup

from service.charts import as_svg, loss_chart, power_chart, slip_chart
from service.store.power import daily_power
from service.web.desk import Desk
from service.web.fan_view import FanPage

_KEPT: Final = 64
_WIDE, _NARROW = (880, 230), (290, 190)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A chart under its title, for a screen and for a phone."""

    title: str
    wide: Markup
    narrow: Markup


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
        key = (found.fan.fan, found.version, found.epoch.limits, services)
        with self._lock:
            if key not in self._kept:
                self._kept[key] = self._draw(found)
                if len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
            return self._kept[key]

    def _draw(self, found: FanPage) -> tuple[Drawing, ...]:
        services = [one.entry for one in found.services]
        rows, limits = found.rows, found.epoch.limits
        power = daily_power(
            self._desk.site, self._desk.store, found.fan.fan, rows[0]["date"], rows[-1]["date"]
        )
        drawn = []
        if found.epoch.machine.drive.can_slip:
            wide, narrow = (slip_chart(rows, limits, services, size) for size in (_WIDE, _NARROW))
            drawn.append(_drawing("Slip", wide, narrow))
        wide, narrow = (loss_chart(rows, limits, services, size) for size in (_WIDE, _NARROW))
        drawn.append(_drawing("Drive loss beside slip, above the healthy period", wide, narrow))
        if power:
            wide, narrow = (power_chart(power, services, size) for size in (_WIDE, _NARROW))
            drawn.append(_drawing("Motor power, expected and measured", wide, narrow))
        return tuple(drawn)


def _drawing(title: str, wide: alt.LayerChart, narrow: alt.LayerChart) -> Drawing:
    # The drawing library escapes every text in it.
    return Drawing(title, Markup(as_svg(wide)), Markup(as_svg(narrow)))
