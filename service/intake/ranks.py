"""Which of two exports has the last word: promise 1's rule, independent of the order they came in."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Rank(NamedTuple):
    """An export's standing: its newest record, the time its source gave, the digest of its bytes."""

    newest_us: int
    modified_us: int
    sha256: str


class Ranks:
    """The ranks met in a pass, each under a small number."""

    def __init__(self) -> None:
        """Begin with none."""
        self.known: list[Rank] = []
        self._numbers: dict[Rank, int] = {}

    def number(self, rank: Rank) -> int:
        """Return a rank's number."""
        if rank not in self._numbers:
            self._numbers[rank] = len(self.known)
            self.known.append(rank)
        return self._numbers[rank]

    def below(self, rank: Rank) -> NDArray[np.bool_]:
        """Tell for each number whether its rank is below one."""
        return np.array([known < rank for known in self.known], dtype=bool)

    def places(self) -> NDArray[np.int64]:
        """Return each number's place in the order of the ranks."""
        order: Sequence[int] = sorted(range(len(self.known)), key=self.known.__getitem__)
        places = np.empty(len(order), dtype=np.int64)
        places[order] = np.arange(len(order))
        return places
