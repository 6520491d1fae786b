"""The account of an export: its series, its refusals, its cells; of several tables as of one."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from service.intake.numbers import Numbers
from service.intake.seen import SeenPoint
from service.intake.series import Axis, Series, series_of


@dataclass(frozen=True, slots=True)
class RefusedCell:
    """A value, or a time with all its values, that could not be read, with its place."""

    row: int  # the line of the file
    column: str
    value: str
    reason: str
    cells: int = 1


@dataclass(slots=True)
class FileReading:
    """An export read: its series, its refusals and the count of its cells."""

    decided: str
    is_named_by_file: bool = False
    series: dict[str, Series] = field(default_factory=dict)
    refused: list[RefusedCell] = field(default_factory=list)
    seen: list[SeenPoint] = field(default_factory=list)
    cells: int = 0
    missing: int = 0
    unmapped: int = 0
    refused_count: int = 0
    first_us: int | None = None
    newest_us: int | None = None
    notes: list[str] = field(default_factory=list)  # what a person should hear of


def joined(tables: Sequence[tuple[int, FileReading]], how: str) -> FileReading:
    """Return the tables of one export as one account, each with the count of lines above it.

    Parameters: `how` they stand in it, in words.
    """
    whole = FileReading("; ".join(dict.fromkeys(table.decided for _, table in tables)))
    whole.decided += f"; {len(tables)} tables, {how}"
    for above, table in tables:
        whole.is_named_by_file |= table.is_named_by_file
        whole.refused += [replace(cell, row=cell.row + above) for cell in table.refused]
        whole.seen += table.seen
        whole.cells += table.cells
        whole.missing += table.missing
        whole.unmapped += table.unmapped
        whole.refused_count += table.refused_count
        whole.notes += [note for note in table.notes if note not in whole.notes]
        for name, series in table.series.items():
            known = whole.series.get(name)
            whole.series[name] = series if known is None else _both(known, series)
    ends = [end for _, table in tables for end in (table.first_us, table.newest_us) if end is not None]
    whole.first_us, whole.newest_us = (min(ends), max(ends)) if ends else (None, None)
    return whole


def _both(first: Series, second: Series) -> Series:
    """Join a point's values of two tables: at one time the later table wins, and every cell stays counted."""
    parts = []
    for series in (first, second):
        nothing = np.zeros(len(series.times_us), dtype=bool)
        parts.append((Numbers(series.values, nothing, None), Axis(series.times_us, ~nothing)))
    both = series_of(parts)

    def counts(kept: NDArray[np.int64] | None, of_parts: list[NDArray[np.int64] | None]) -> NDArray[np.int64]:
        total = np.zeros(len(both.times_us), dtype=np.int64) if kept is None else kept.copy()
        for series, some in zip((first, second), of_parts, strict=True):
            if some is not None:
                total[np.searchsorted(both.times_us, series.times_us)] += some
        return total

    return Series(
        both.times_us,
        both.values,
        counts(both.repeated, [first.repeated, second.repeated]),
        counts(both.overruled, [first.overruled, second.overruled]),
    )
