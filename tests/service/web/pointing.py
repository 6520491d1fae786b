"""A hand on a chart: what it tells under the pointer, and what is written on its axis."""

import datetime as dt
import re
from typing import Final

from playwright.sync_api import Locator, Page

# A canvas keeps no words: they are heard as they are drawn.
HEARD: Final = """
window.heard = [];
const write = CanvasRenderingContext2D.prototype.fillText;
CanvasRenderingContext2D.prototype.fillText = function (text, ...rest) {
  window.heard.push([this.canvas, String(text)]);
  return write.call(this, text, ...rest);
};
"""
_TOLD: Final = """
() => [...document.querySelectorAll("#vg-tooltip-element.visible tr")]
  .map(row => [...row.cells].map(cell => cell.textContent))
"""
_SETTLED_MS: Final = 150
# What stands beside the drawn part, in dots: the axis with its title, and the rim.
_LEFT: Final = 40
_RIGHT: Final = 12


class Pointing:
    """Places on a chart are shares of what lies between its axis and its right end, half-way up."""

    def __init__(self, page: Page, canvas: Locator) -> None:
        canvas.scroll_into_view_if_needed()
        box = canvas.bounding_box()
        assert box is not None
        self._page, self._canvas, self._box = page, canvas, box

    def told(self, across: float) -> dict[str, str]:
        """Return what stands beside the pointer, nothing if nothing does."""
        # Arriving from elsewhere: a pointer that rests tells nothing anew.
        self._page.mouse.move(0, 0)
        self._to(across)
        return dict(self._page.evaluate(_TOLD))

    def day(self, across: float) -> dt.date:
        return dt.datetime.strptime(self.told(across)["day"], "%d %b %Y").date()

    def wheel(self, across: float) -> None:
        self._to(across)
        for _ in range(3):
            self._page.evaluate("heard.length = 0")
            self._page.mouse.wheel(0, -200)
            self._page.wait_for_timeout(_SETTLED_MS)

    def drag(self, start: float, end: float) -> None:
        self._to(start)
        self._page.mouse.down()
        self._to(end)
        self._page.mouse.up()

    def twice(self, across: float) -> None:
        self._page.mouse.dblclick(*self._at(across))
        self._page.wait_for_timeout(_SETTLED_MS)

    def days_on_the_axis(self) -> list[dt.date]:
        """Return the dates written on the chart since it was opened or the wheel last turned, in order."""
        texts = self._canvas.evaluate("canvas => heard.filter(one => one[0] === canvas).map(one => one[1])")
        written = {text for text in texts if re.fullmatch(r"\d{1,2} [A-Z][a-z]{2}", text)}
        return sorted(dt.datetime.strptime(f"{text} 2025", "%d %b %Y").date() for text in written)

    def _to(self, across: float) -> None:
        self._page.mouse.move(*self._at(across), steps=5)
        self._page.wait_for_timeout(_SETTLED_MS)

    def _at(self, across: float) -> tuple[float, float]:
        left, right = self._box["x"] + _LEFT, self._box["x"] + self._box["width"] - _RIGHT
        return left + across * (right - left), self._box["y"] + self._box["height"] / 2
