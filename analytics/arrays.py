"""How numbers enter and leave the formulas: scalars or arrays of any shape, as float64.

The formulas call `np.power`, `np.exp` and `np.log` by name and not `**`: NumPy computes a power of a
scalar by another routine than a power of an array, and a fan must get the same bits alone and in a batch.
"""

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WATTS_PER_HP: Final = 745.6998715822702
"""One mechanical horsepower [W]: 550 ft lbf/s, exact in its definition."""


def as_floats(values: ArrayLike) -> Floats:
    """Values as a float64 array, without copying one that already is."""
    return np.asarray(values, dtype=np.float64)


def column(frame: pd.DataFrame, name: str) -> Floats:
    """Return a column of a frame as float64 in a piece of its own; NaN throughout where it is absent.

    A column of a frame may lie scattered in memory, and NumPy takes other routines for scattered numbers
    than for adjoining ones: a fan must get the same bits alone and in a batch.
    """
    if name not in frame:
        return np.full(len(frame), np.nan)
    return np.ascontiguousarray(frame[name].to_numpy(dtype=np.float64, na_value=np.nan))
