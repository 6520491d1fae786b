"""Which exports speak of a point in a month: asked where a newcomer disagrees with what is held."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from service.intake.months import month_span

# The points and the exports, by id, that the passes done so far have read for times in [start, end).
LookUp = Callable[[int, int], Iterable[tuple[str, int]]]


@dataclass(frozen=True, slots=True)
class _Fresh:
    """An export that was read since the last pass was done."""

    export_id: int
    points: tuple[str, ...]
    first_us: int
    newest_us: int


class Carriers:
    """The exports that were read, by month and point; a month is looked up when it is first asked for."""

    def __init__(self, look_up: LookUp) -> None:
        """Look up what passes have read; what comes after them is to be noted here."""
        self._look_up = look_up
        self._by_month: dict[int, dict[str, list[int]]] = {}
        self._fresh: list[_Fresh] = []
        self._taken_in: dict[int, int] = {}  # by month: how many of the fresh ones

    def note(self, export_id: int, points: Iterable[str], first_us: int, newest_us: int) -> None:
        """Note an export just read, the points it names and the times it spans."""
        self._fresh.append(_Fresh(export_id, tuple(points), first_us, newest_us))

    def of(self, point: str, month: int) -> list[int]:
        """Return the ids of the exports that name a point and may speak of a month."""
        start_us, end_us = month_span(month)
        if month not in self._by_month:
            self._by_month[month], self._taken_in[month] = {}, 0
            for name, export_id in self._look_up(start_us, end_us):
                self._by_month[month].setdefault(name, []).append(export_id)
        by_point = self._by_month[month]
        for fresh in self._fresh[self._taken_in[month] :]:
            if fresh.first_us < end_us and fresh.newest_us >= start_us:
                for name in fresh.points:
                    by_point.setdefault(name, []).append(fresh.export_id)
        self._taken_in[month] = len(self._fresh)
        return by_point.get(point, [])
