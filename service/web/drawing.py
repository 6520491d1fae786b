"""Where the strokes of the small drawings lie: an interval beside its number, a quarter in a line."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LINE_DAYS: Final = 90
# Of the line's own grid, a day wide and a third of a per cent high; the page stretches it.
LINE_HEIGHT: Final = 30
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


def polylines(days: Sequence[tuple[int, float]], last: int) -> tuple[str, ...]:
    """Return the points of the lines of the last 90 days, broken where days are missing.

    Parameters: `days` as ordinals with their values, in order; `last` the ordinal of the right end. A point
    on the straight between its neighbours is left out: most belts do nothing most of the time.
    """
    first = last - LINE_DAYS + 1
    pieces: list[list[tuple[int, int]]] = []
    before = None
    for day, value in days:
        if day < first:
            continue
        if before is None or day - before > _GAP_DAYS:
            pieces.append([])
        before = day
        _add(pieces[-1], (day - first, line_height(value)))
    # A day alone would leave no stroke: it is drawn as a short one.
    return tuple(
        " ".join(f"{x},{y}" for x, y in (piece if len(piece) > 1 else piece * 2)) for piece in pieces
    )


def _add(piece: list[tuple[int, int]], point: tuple[int, int]) -> None:
    """Add a point, in the place of the last one where that lies level between its neighbours."""
    if len(piece) > 1 and piece[-1][1] == point[1] == piece[-2][1]:
        piece[-1] = point
    else:
        piece.append(point)


def line_height(value: float) -> int:
    """Return how far below the top of the drawing a value of the line lies."""
    return round(LINE_HEIGHT * (1.0 - min(max(value, 0.0), TOP_PCT) / TOP_PCT))
