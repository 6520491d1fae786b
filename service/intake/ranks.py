"""Which of two exports has the last word: promise 1's rule, independent of the order they came in."""

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
        self._below: tuple[Rank | None, NDArray[np.bool_]] = (None, np.empty(0, dtype=bool))  # asked last

    def number(self, rank: Rank) -> int:
        """Return a rank's number."""
        if rank not in self._numbers:
            self._numbers[rank] = len(self.known)
            self.known.append(rank)
        return self._numbers[rank]

    def below(self, rank: Rank) -> NDArray[np.bool_]:
        """Tell for each number whether its rank is below one.

        Every point of an export asks the same, so the last answer is kept and gone on with.
        """
        asked, below = self._below
        if asked != rank:
            below = np.empty(0, dtype=bool)
        if len(below) < len(self.known):
            further = [known < rank for known in self.known[len(below) :]]
            below = np.append(below, np.array(further, dtype=bool))
            self._below = (rank, below)
        return below

    def places(self, numbers: NDArray[np.int32]) -> NDArray[np.int64]:
        """Return the place of each number's rank in the order of the ranks that stand among these numbers."""
        distinct, where = np.unique(numbers, return_inverse=True)
        order = sorted(range(len(distinct)), key=lambda place: self.known[distinct[place]])
        places = np.empty(len(order), dtype=np.int64)
        places[order] = np.arange(len(order))
        placed: NDArray[np.int64] = places[where]
        return placed
