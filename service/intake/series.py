"""A point's values in one export: each time once, in order, the last row of the file winning."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.intake.numbers import Numbers
from service.intake.zones import Mask, Times


@dataclass(frozen=True, slots=True)
class Series:
    """A mapped point's values in one export, as written: each time once, in order, the last row winning."""

    times_us: Times
    values: NDArray[np.float64]
    # How many earlier rows of the file at the same time said the same, by the place of the time.
    repeated: NDArray[np.int64] | None = None
    # How many said otherwise.
    overruled: NDArray[np.int64] | None = None


class Axis:
    """The times of some rows, and the way from rows to distinct times in order."""

    def __init__(self, times_us: Times, is_usable: Mask) -> None:
        """Hold the times, and which rows may be used."""
        self.times_us = times_us
        self.is_usable = is_usable
        self.is_plain = bool(is_usable.all()) and bool(np.all(times_us[1:] > times_us[:-1]))


def series_of(parts: Sequence[tuple[Numbers, Axis]]) -> Series:
    """Return a point's distinct times in order, from one column or from several of the same name."""
    if len(parts) == 1 and parts[0][1].is_plain:
        numbers, axis = parts[0]
        if not numbers.is_missing.any() and numbers.is_refused is None:
            return Series(axis.times_us, numbers.values)
    times = np.concatenate([axis.times_us for _, axis in parts])
    values = np.concatenate([numbers.values for numbers, _ in parts])
    is_used = np.concatenate([axis.is_usable & ~np.isnan(numbers.values) for numbers, axis in parts])
    times, values = times[is_used], values[is_used]
    if np.all(times[1:] > times[:-1]):
        return Series(times, values)
    order = np.argsort(times, kind="stable")
    times, values = times[order], values[order]
    is_last = np.append(times[1:] != times[:-1], True)[: len(times)]
    if is_last.all():
        return Series(times, values)
    place = np.concatenate([[0], np.cumsum(is_last)[:-1]])
    kept = values[is_last]
    is_same = (values == kept[place]) & ~is_last
    is_other = (values != kept[place]) & ~is_last
    return Series(
        times[is_last],
        kept,
        np.bincount(place[is_same], minlength=len(kept)),
        np.bincount(place[is_other], minlength=len(kept)),
    )


def taken(numbers: Numbers, rows: NDArray[np.intp] | slice) -> Numbers:
    """Return some rows of a column, in an order of theirs; what was told of the column goes with them."""
    refused = None if numbers.is_refused is None else reordered(numbers.is_refused, rows)
    missing = reordered(numbers.is_missing, rows)
    return Numbers(numbers.values[rows], missing, refused, numbers.told, numbers.units)


def reordered(mask: Mask, rows: NDArray[np.intp] | slice) -> Mask:
    """Return some rows of a mask; one that is the same everywhere needs no reordering of as many rows."""
    if isinstance(rows, slice) or len(rows) != len(mask) or not (mask.all() or not mask.any()):
        return mask[rows]
    return mask
