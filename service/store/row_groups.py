"""What a file of rows says of its row groups in its footer, kept small so that it is asked once a process."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Self
from urllib.parse import unquote

import fsspec
import numpy as np
import pyarrow.fs as pafs
import pyarrow.parquet as pq
from numpy.typing import NDArray

from service.store.columns import FAN, TIME

# Three years of months of a few files each, many times over; a group of rows takes some 100 bytes.
_FILES_KNOWN: Final = 4096
_ANY_TIME: Final = (np.iinfo(np.int64).min, np.iinfo(np.int64).max)
_ANY_FAN: Final = ("", "\U0010ffff")

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class RowGroups:
    """The row groups of one file: first and last fan and time [us since 1970] of each, and what they tell.

    `is_told` says of each group, by column of the file, whether any of its rows may say something.
    """

    first_fan: NDArray[np.str_]
    last_fan: NDArray[np.str_]
    first_us: NDArray[np.int64]
    last_us: NDArray[np.int64]
    is_told: dict[str, NDArray[np.bool_]]

    @classmethod
    def of(cls, footer: pq.FileMetaData) -> Self:
        """Read a footer; a group without statistics may hold any fan, any time and anything."""
        names = footer.schema.names
        groups = [footer.row_group(place) for place in range(footer.num_row_groups)]
        fans = [_ends(group, names.index(FAN), _ANY_FAN) for group in groups]
        times = [_ends(group, names.index(TIME), _ANY_TIME, is_raw=True) for group in groups]
        first_us, last_us = np.array(times, dtype=np.int64).reshape(-1, 2).T
        return cls(
            np.array([first for first, _ in fans], dtype=np.str_),
            np.array([last for _, last in fans], dtype=np.str_),
            first_us,
            last_us,
            {
                name: np.array([_is_told(group, place) for group in groups], dtype=bool)
                for place, name in enumerate(names)
            },
        )

    def that_may_hold(self, fans: Sequence[str], start_us: int, end_us: int) -> Places:
        """Return the places of the groups that may hold a row of some fans in [start, end)."""
        wanted = np.array(sorted(fans), dtype=np.str_)
        has_fan = np.searchsorted(wanted, self.first_fan) < np.searchsorted(wanted, self.last_fan, "right")
        return np.flatnonzero(has_fan & (self.last_us >= start_us) & (self.first_us < end_us))

    def told(self, places: Places) -> list[str]:
        """Return the columns in which a row of some groups may say something."""
        return [name for name, is_told in self.is_told.items() if is_told[places].any()]


@lru_cache(_FILES_KNOWN)
def row_groups_of(file: str) -> RowGroups:
    """Return what a file of a table says, by its listed name: none is ever written twice under one."""
    return RowGroups.of(pq.read_metadata(path_of(file), filesystem=filesystem_of(file)))


def filesystem_of(address: str) -> pafs.FileSystem:
    """Return where a table or a file of it is: on this machine or in an object store."""
    if "://" not in address:
        return pafs.LocalFileSystem()
    filesystem, _ = fsspec.core.url_to_fs(address)
    return pafs.PyFileSystem(pafs.FSSpecHandler(filesystem))


def path_of(file: str) -> str:
    """Return a listed file's path where it is: local ones are listed percent-encoded."""
    return unquote(file) if "://" not in file else str(fsspec.core.url_to_fs(file)[1])


def _ends(group: pq.RowGroupMetaData, place: int, widest: Any, *, is_raw: bool = False) -> Any:
    statistics = group.column(place).statistics
    if statistics is None or not statistics.has_min_max:
        return widest
    return (statistics.min_raw, statistics.max_raw) if is_raw else (statistics.min, statistics.max)


def _is_told(group: pq.RowGroupMetaData, place: int) -> bool:
    statistics = group.column(place).statistics
    return statistics is None or not statistics.has_null_count or statistics.null_count < group.num_rows
