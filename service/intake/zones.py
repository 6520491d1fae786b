"""Which instant a wall clock meant: the site's civil time turned into UTC, both clock changes included."""

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]  # microseconds since 1970
Mask = NDArray[np.bool_]
Dates = NDArray[np.datetime64]

SECOND_US: Final = 1_000_000
DAY_US: Final = 86_400 * SECOND_US
_REPEATED_US: Final = 3_600 * SECOND_US  # what the clocks repeat, or twice that (Lord Howe)
_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True, slots=True)
class Instants:
    """Wall-clock times as UTC: both readings of a repeated hour, and which of them the clocks skipped."""

    first: Times  # the instant; in a repeated hour its first passing
    second: Times  # the instant; in a repeated hour its second passing
    is_skipped: Mask
    is_repeated: Mask


class Clock:
    """The civil time of a zone."""

    def __init__(self, zone: dt.tzinfo) -> None:
        """Keep a zone's time."""
        self._zone = zone

    @property
    def abbreviations(self) -> Mapping[str, int]:
        """The zone's own short names of its times, such as MST and MDT, with their offsets [us]."""
        return _abbreviations(self._zone)

    def instants(self, wall_us: Times) -> Instants:
        """Return what wall-clock times mean in UTC."""
        if wall_us.size == 0:
            nothing = np.zeros(0, dtype=bool)
            return Instants(wall_us, wall_us, nothing, nothing)
        changes, offsets = self._changes(wall_us)
        earlier, later = offsets[:-1], offsets[1:]
        opens = changes + np.minimum(earlier, later)  # wall clock at which a change's window opens
        closes = changes + np.maximum(earlier, later)
        after = np.searchsorted(opens, wall_us, side="right")
        change = np.maximum(after - 1, 0)
        is_inside = (after > 0) & (wall_us < closes[change]) if changes.size else np.zeros(len(wall_us), bool)
        is_forward = later > earlier
        is_skipped = is_inside & is_forward[change] if changes.size else is_inside
        is_repeated = is_inside & ~is_skipped
        second = wall_us - offsets[after]
        first = np.where(is_repeated, wall_us - offsets[np.maximum(after - 1, 0)], second)
        return Instants(first, second, is_skipped, is_repeated)

    def dates(self, times_us: Times) -> Dates:
        """Return the local calendar date of UTC instants."""
        local = times_us
        if times_us.size:
            changes, offsets = self._changes(times_us)
            local = times_us + offsets[np.searchsorted(changes, times_us, side="right")]
        dates: Dates = np.floor_divide(local, DAY_US).astype("datetime64[D]")
        return dates

    def local(self, time: dt.datetime) -> dt.datetime:
        """Return an instant as local time."""
        return time.astimezone(self._zone)

    def midnight_us(self, date: dt.date) -> int:
        """Return the instant at which a local date begins."""
        local = dt.datetime.combine(date, dt.time(), tzinfo=self._zone)
        return (local.astimezone(dt.UTC) - _EPOCH) // dt.timedelta(microseconds=1)

    def _changes(self, times_us: Times) -> tuple[Times, Times]:
        """Return the instants of the clock changes around some times, and the offsets between them."""
        first = int(times_us.min()) // DAY_US - 2
        last = int(times_us.max()) // DAY_US + 3
        return _changes_between(self._zone, first // 366 * 366, (last // 366 + 1) * 366)


_NAMED_YEARS: Final = range(2000, 2038)


@lru_cache(maxsize=64)
def _abbreviations(zone: dt.tzinfo) -> Mapping[str, int]:
    """Return those that are letters and always stood for one offset, in the years of trend logs."""
    found: dict[str, set[int]] = {}
    for year in _NAMED_YEARS:
        for month in (1, 4, 7, 10):
            time = dt.datetime(year, month, 15, tzinfo=dt.UTC).astimezone(zone)
            found.setdefault(time.tzname() or "", set()).add(
                (time.utcoffset() or dt.timedelta()) // dt.timedelta(microseconds=1)
            )
    return {name: offsets.pop() for name, offsets in found.items() if name.isalpha() and len(offsets) == 1}


_HEADER_ZONE: Final = re.compile(
    r"(?<![a-z])(?:utc|gmt|zulu)(?:\s*(?P<sign>[+-])\s*(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?)?(?![a-z0-9])",
    re.IGNORECASE,
)


def zone_of_header(name: str) -> dt.tzinfo | None:
    """Return the zone that a time column's header names, such as UTC or UTC-07:00; None: it names none."""
    found = _HEADER_ZONE.search(name)
    if found is None:
        return None
    offset = dt.timedelta(hours=int(found["hours"] or 0), minutes=int(found["minutes"] or 0))
    if offset >= dt.timedelta(hours=15):
        return None
    return dt.timezone(-offset if found["sign"] == "-" else offset)


_ZONE_LINE: Final = re.compile(r"\b(?:time ?zone|tz|zone|times? (?:are )?in)\b\s*[:=]?\s*(.*)", re.IGNORECASE)
_ZONE_NAME: Final = re.compile(r"\b[A-Z][A-Za-z]+(?:/[A-Za-z0-9_+-]+)+")
_SHORT_NAME: Final = re.compile(r"[\[(]\s*([A-Z]{1,3}[SD]?T)\s*[\])]|[ _]([A-Z]{1,2}[SD]T)$")


def zone_above(lines: Iterable[Sequence[str]]) -> tuple[dt.tzinfo | None, str]:
    """Return the zone that a line above a table names, and what is said of one; None and blank where none."""
    for line in lines:
        found = _ZONE_LINE.search(" ".join(line))
        if found is None or not found[1]:
            continue
        named = _ZONE_NAME.search(found[1])
        if named is not None and named[0] in available_timezones():
            return ZoneInfo(named[0]), named[0]
        return zone_of_header(found[1]), found[1]
    return None, ""


def short_zone_name(header: str) -> str:
    """Return a zone's short name, such as EST, where a time column's header has one; else a blank."""
    found = _SHORT_NAME.search(header)
    return "" if found is None else found[1] or found[2]


@lru_cache(maxsize=64)
def _changes_between(zone: dt.tzinfo, first_day: int, last_day: int) -> tuple[Times, Times]:
    changes: list[int] = []
    offsets = [_offset_us(zone, first_day * DAY_US)]
    for day in range(first_day, last_day):
        offset = _offset_us(zone, (day + 1) * DAY_US)
        if offset != offsets[-1]:
            changes.append(_change_within(zone, day * DAY_US, (day + 1) * DAY_US))
            offsets.append(offset)
    return np.array(changes, dtype=np.int64), np.array(offsets, dtype=np.int64)


def _change_within(zone: dt.tzinfo, low: int, high: int) -> int:
    before = _offset_us(zone, low)
    while high - low > SECOND_US:
        middle = (low + high) // 2 // SECOND_US * SECOND_US
        if _offset_us(zone, middle) == before:
            low = middle
        else:
            high = middle
    return high


def _offset_us(zone: dt.tzinfo, time_us: int) -> int:
    offset = (_EPOCH + dt.timedelta(microseconds=time_us)).astimezone(zone).utcoffset()
    assert offset is not None
    return offset // dt.timedelta(microseconds=1)


FIRST, SECOND, UNKNOWN = 0, 1, -1


def passings(wall_us: Times, is_repeated: Mask) -> NDArray[np.int8]:
    """Tell which passing of a repeated hour each row of one sequence, in file order, belongs to.

    The order of the rows decides: where the wall clock steps back within the hour, the second passing begins.
    Where it does not, a row that follows at the sequence's own interval on one side alone decides, if another
    step shows that interval and it is no longer than what is repeated. Else it stays unknown. Rows outside a
    repeated hour are of the first passing.
    """
    result = np.zeros(len(wall_us), dtype=np.int8)
    places = np.flatnonzero(is_repeated)
    if places.size == 0:
        return result
    steps = np.diff(wall_us)
    is_falling = np.count_nonzero(steps < 0) > np.count_nonzero(steps > 0)
    if is_falling:
        return passings(wall_us[::-1], is_repeated[::-1])[::-1]
    interval = _interval(steps)
    for block in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
        result[block] = _of_block(wall_us, int(block[0]), int(block[-1]), interval)
    is_split = _has_several_blocks(wall_us, places)
    if is_split.any():
        result[places[is_split]] = UNKNOWN
    return result


def _of_block(wall_us: Times, first: int, last: int, interval: int | None) -> Sequence[int] | int:
    block = wall_us[first : last + 1]
    back = np.flatnonzero(np.diff(block) < 0)
    previous = wall_us[first - 1] if first > 0 else None
    following = wall_us[last + 1] if last + 1 < len(wall_us) else None
    is_ordered = (previous is None or previous < block.min()) and (
        following is None or following > block.max()
    )
    if not is_ordered or len(back) > 1:
        return UNKNOWN
    if len(back) == 1:
        return [FIRST if place <= back[0] else SECOND for place in range(len(block))]
    follows = previous is not None and block[0] - previous == interval
    precedes = following is not None and following - block[-1] == interval
    if follows == precedes:
        return UNKNOWN
    return FIRST if follows else SECOND


def _interval(steps: Times) -> int | None:
    """Return the interval that nine steps of ten, and more than one, keep; None where there is none.

    A lone step shows none: it would prove itself. Nor does one longer than the hour that is repeated: a row
    hours away proves nothing.
    """
    if steps.size == 0:
        return None
    values, counts = np.unique(steps, return_counts=True)
    most = int(np.argmax(counts))
    is_kept = counts[most] >= max(0.9 * steps.size, 2) and 0 < values[most] <= _REPEATED_US
    return int(values[most]) if is_kept else None


def _has_several_blocks(wall_us: Times, places: NDArray[np.intp]) -> Mask:
    """Tell the rows of a repeated hour whose rows do not stand together in the file."""
    hour = np.floor_divide(wall_us[places], DAY_US)
    starts = np.concatenate([[True], np.diff(places) > 1])
    result = np.zeros(len(places), dtype=bool)
    for day in np.unique(hour):
        is_day = hour == day
        result[is_day] = np.count_nonzero(starts & is_day) > 1
    return result
