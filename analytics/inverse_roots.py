"""What are the inverse roots of very many small matrices?"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from analytics.arrays import Floats


def inverse_roots(matrices: Floats) -> tuple[Floats, Floats]:
    """Return lower triangular W with W' W the inverse of each matrix, and the matrices' log determinants.

    All matrices are eliminated at once, row by row: a library takes them one after the other, and for so
    small ones its own overhead is most of the time. No sum runs over the matrices, so that each has the same
    bits alone and among others.

    Parameters: `matrices` (..., size, size), symmetric and positive definite. Returns: (..., size, size) and
    (...,).
    Equation: G = L L', W = L^-1, ln det G = -2 sum ln W_kk; Gaussian elimination in place.
    Source: Cholesky's factorisation, as in any text on linear algebra.
    """
    size = matrices.shape[-1]
    work = np.ascontiguousarray(matrices.reshape(-1, size * size).T).reshape(size, size, -1)
    for k in range(size):
        pivot = 1.0 / np.sqrt(work[k, k])
        below = work[k + 1 :, k] * pivot
        # What has been eliminated makes room for the inverse.
        work[k, k] = 1.0
        work[k] *= pivot
        work[k + 1 :, k] = 0.0
        work[k + 1 :] -= below[:, None] * work[k]
    log_det = -2.0 * np.log(np.prod(work[np.arange(size), np.arange(size)], axis=0))
    work[_above(size)] = 0.0
    roots = np.ascontiguousarray(work.reshape(size * size, -1).T).reshape(matrices.shape)
    return roots, np.asarray(log_det.reshape(matrices.shape[:-2]))


@cache
def _above(size: int) -> tuple[NDArray[np.intp], ...]:
    # Found once: the search for the places takes longer than a day's zeros.
    return np.triu_indices(size, 1)
