"""The charts of a fan's page, drawn once for each state of its ledger."""

from collections import OrderedDict
from threading import Lock
from typing import Any, Final

from markupsafe import Markup

from service.charts import as_svg, slip_chart
from service.web.fan_view import FanPage

_KEPT: Final = 64


class Drawings:
    """Draws a fan's charts and keeps the latest ones; a chart is drawn anew when its rows are others."""

    def __init__(self) -> None:
        """Begin with none."""
        self._kept: OrderedDict[tuple[Any, ...], tuple[Markup, ...]] = OrderedDict()
        self._lock = Lock()

    def of(self, found: FanPage) -> tuple[Markup, ...]:
        """Return the charts of a fan's page, none before its first row."""
        if not found.rows:
            return ()
        key = (found.fan.fan, found.version, found.epoch.limits, tuple(one.entry for one in found.services))
        with self._lock:
            if key not in self._kept:
                self._kept[key] = _draw(found)
                if len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
            return self._kept[key]


def _draw(found: FanPage) -> tuple[Markup, ...]:
    services = [one.entry for one in found.services]
    charts = []
    if found.epoch.machine.drive.can_slip:
        charts.append(slip_chart(found.rows, found.epoch.limits, services))
    # The drawing library escapes every text in it.
    return tuple(Markup(as_svg(chart)) for chart in charts)
