"""Where the strokes of the small drawings lie: an interval beside its number, a quarter in a line."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LINE_DAYS: Final = 90
LINE_WIDTH: Final = 120.0
LINE_HEIGHT: Final = 26.0
# One scale for the whole fleet, so that lengths can be held against each other down the page.
TOP_PCT: Final = 10.0
_LOWEST_DRAG_PCT: Final = -5.0
_GAP_DAYS: Final = 7
_WIDTH: Final = 100.0


@dataclass(frozen=True, slots=True)
class Interval:
    """A number's interval on a scale 100 wide: its ends, its centre, its limits and where zero lies.

    `is_beyond` where the upper end lies past the scale.
    """

    low: float
    high: float
    centre: float
    watch: float
    act: float
    zero: float
    is_beyond: bool


def interval(
    centre: float, low: float, high: float, watch: float, act: float, bottom: float = 0.0
) -> Interval:
    """Place an interval on the scale from `bottom` to the top."""

    def place(value: float) -> float:
        part = (value - bottom) / (TOP_PCT - bottom)
        return round(_WIDTH * min(max(part, 0.0), 1.0), 1)

    return Interval(
        place(low), place(high), place(centre), place(watch), place(act), place(0.0), high > TOP_PCT
    )


def drag_interval(centre: float, low: float, high: float, watch: float, act: float) -> Interval:
    """Place an interval that may lie below zero."""
    return interval(centre, low, high, watch, act, _LOWEST_DRAG_PCT)


def polylines(days: Sequence[tuple[dt.date, float]], last: dt.date) -> tuple[str, ...]:
    """Return the points of the lines of the last 90 days, broken where days are missing."""
    first = last - dt.timedelta(days=LINE_DAYS - 1)
    pieces: list[list[str]] = []
    before: dt.date | None = None
    for date, value in days:
        if date < first:
            continue
        if before is None or (date - before).days > _GAP_DAYS:
            pieces.append([])
        before = date
        x = LINE_WIDTH * (date - first).days / (LINE_DAYS - 1)
        pieces[-1].append(f"{x:.1f},{line_height(value):.1f}")
    # A day alone would leave no stroke: it is drawn as a short one.
    return tuple(" ".join(piece if len(piece) > 1 else piece * 2) for piece in pieces)


def line_height(value: float) -> float:
    """Return how far below the top of the drawing a value of the line lies."""
    return LINE_HEIGHT * (1.0 - min(max(value, 0.0), TOP_PCT) / TOP_PCT)
