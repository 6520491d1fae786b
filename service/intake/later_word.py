"""Does an export that outranks another speak of a time? The kept exports themselves are asked."""

from collections import OrderedDict
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from service.intake.accounts import FileReading
from service.intake.carriers import Carriers
from service.intake.known import KnownExports
from service.intake.months import by_month
from service.intake.ranks import Rank
from service.intake.series import Series
from service.intake.zones import Mask, Times
from service.store.catalogue import Export

_VALUES_KEPT: Final = 2_000_000  # of exports read again; 16 bytes each


class LaterWord:
    """Knows for each point which read exports may have the last word on it, and reads them again to see."""

    def __init__(
        self, known: KnownExports, carriers: Carriers, read: Callable[[Export], FileReading]
    ) -> None:
        """Ask among the known exports; `read` reads a kept one."""
        self._known = known
        self._carriers = carriers
        self._read = read
        self._kept: OrderedDict[int, Mapping[str, Series]] = OrderedDict()  # the one asked last stands last
        self._values_kept = 0

    def is_there(self, point: str, times_us: Times, rank: Rank) -> Mask:
        """Tell at which times a read export above a rank gives a point a value.

        Parameters: `times_us` [us since 1970] in order.
        """
        result = np.zeros(len(times_us), dtype=bool)
        for month, span in by_month(times_us):
            times = times_us[span]
            found = result[span]  # a view: what is found is in the result
            for one in self._known.above(rank, self._carriers.of(point, month)):
                if found.all():
                    break
                if one.first_us is None or one.newest_us is None:
                    continue
                if one.first_us <= times[-1] and one.newest_us >= times[0]:
                    series = self._series(one.export).get(point)
                    if series is not None:
                        found |= np.isin(times, series.times_us)
        return result

    def _series(self, export: Export) -> Mapping[str, Series]:
        """Return what an export says, read again unless it was asked for a little while ago."""
        if export.id in self._kept:
            self._kept.move_to_end(export.id)
            return self._kept[export.id]
        self._kept[export.id] = self._read(export).series
        self._values_kept += _size(self._kept[export.id])
        while self._values_kept > _VALUES_KEPT and len(self._kept) > 1:
            _, let_go = self._kept.popitem(last=False)
            self._values_kept -= _size(let_go)
        return self._kept[export.id]


def _size(series: Mapping[str, Series]) -> int:
    return sum(len(one.times_us) for one in series.values())
