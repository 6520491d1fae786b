"""How numbers enter and leave the formulas: scalars or arrays of any shape, as float64.

The formulas call `np.power`, `np.exp` and `np.log` by name and not `**`: NumPy computes a power of a
scalar by another routine than a power of an array, and a fan must get the same bits alone and in a batch.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WATTS_PER_HP: Final = 745.6998715822702
"""One mechanical horsepower [W]: 550 ft lbf/s, exact in its definition."""


def as_floats(values: ArrayLike) -> Floats:
    """Values as a float64 array, without copying one that already is."""
    return np.asarray(values, dtype=np.float64)
