"""How states are written down and read again, to the last bit."""

from typing import Final

import numpy as np
import pyarrow as pa

from analytics.explanations import EXPLANATION_COUNT
from analytics.state import State
from analytics.watch import WIDTH

_ROWS, _COLUMNS = np.tril_indices(WIDTH)
_SIZES: Final = (EXPLANATION_COUNT * WIDTH, EXPLANATION_COUNT * len(_ROWS), EXPLANATION_COUNT)
_CODEC: Final = pa.Codec("lz4")
_BYTES: Final = 8


def carried_state(state: State, index: int) -> State:
    """Return one fan's state of a batch as it is carried to the next day: exactly as it would be read again.

    Only half of a covariance is written down: a day leaves both halves equal to the last bit.
    """
    one = slice(index, index + 1)
    return State(*(getattr(state, name)[one].copy() for name in State.__slots__))


def state_as_bytes(state: State, index: int) -> bytes:
    """Pack one fan's state of a batch; covariances are symmetric, so half of each is enough."""
    packed = np.concatenate(
        [
            state.mean[index].ravel(),
            state.covariance[index][:, _ROWS, _COLUMNS].ravel(),
            state.log_weight[index],
        ]
    )
    # First bytes beside first bytes: signs and exponents repeat, the last bits of numbers never do.
    by_place = packed.astype("<f8").view(np.uint8).reshape(-1, _BYTES).T
    told: bytes = _CODEC.compress(by_place.tobytes(), asbytes=True)
    return told


def state_from_bytes(packed: bytes) -> State:
    """Read one fan's state again, a batch of one."""
    whole = _CODEC.decompress(packed, decompressed_size=_BYTES * sum(_SIZES), asbytes=True)
    by_place = np.frombuffer(whole, dtype=np.uint8).reshape(_BYTES, -1).T
    values = np.ascontiguousarray(by_place).view("<f8")[:, 0].astype(np.float64)
    mean, lower, log_weight = np.split(values, np.cumsum(_SIZES[:-1]))
    covariance = np.zeros((1, EXPLANATION_COUNT, WIDTH, WIDTH))
    half = lower.reshape(EXPLANATION_COUNT, len(_ROWS))
    covariance[0][:, _ROWS, _COLUMNS] = half
    covariance[0][:, _COLUMNS, _ROWS] = half
    return State(mean.reshape(1, EXPLANATION_COUNT, WIDTH), covariance, log_weight.reshape(1, -1))
