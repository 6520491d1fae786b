"""How states are written down and read again, to the last bit."""

import zlib
from typing import Final

import numpy as np

from analytics.explanations import EXPLANATION_COUNT
from analytics.state import State
from analytics.watch import WIDTH

_LOWER: Final = np.tril_indices(WIDTH)


def carried_state(state: State, index: int) -> State:
    """Return one fan's state of a batch as it is carried to the next day: exactly as it would be read again.

    Only half of a covariance is written down, so its halves, which rounding parts, are made the same.
    """
    covariance = state.covariance[index : index + 1].copy()
    rows, columns = _LOWER
    covariance[..., columns, rows] = covariance[..., rows, columns]
    one = slice(index, index + 1)
    return State(state.mean[one].copy(), covariance, state.log_weight[one].copy())


def state_as_bytes(state: State, index: int) -> bytes:
    """Pack one fan's state of a batch; covariances are symmetric, so half of each is enough."""
    rows, columns = _LOWER
    packed = np.concatenate(
        [
            state.mean[index].ravel(),
            state.covariance[index][:, rows, columns].ravel(),
            state.log_weight[index],
        ]
    )
    return zlib.compress(packed.astype("<f8").tobytes(), level=1)


def state_from_bytes(packed: bytes) -> State:
    """Read one fan's state again, a batch of one."""
    values = np.frombuffer(zlib.decompress(packed), dtype="<f8").astype(np.float64)
    rows, columns = _LOWER
    size = EXPLANATION_COUNT * WIDTH
    triangle = EXPLANATION_COUNT * len(rows)
    covariance = np.zeros((1, EXPLANATION_COUNT, WIDTH, WIDTH))
    half = values[size : size + triangle].reshape(EXPLANATION_COUNT, len(rows))
    covariance[0][:, rows, columns] = half
    covariance[0][:, columns, rows] = half
    mean = values[:size].reshape(1, EXPLANATION_COUNT, WIDTH).copy()
    return State(mean, covariance, values[size + triangle :].reshape(1, EXPLANATION_COUNT).copy())
