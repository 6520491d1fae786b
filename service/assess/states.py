"""How states are kept from day to day, written down and read again, to the last bit."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pyarrow as pa

from analytics.explanations import EXPLANATION_COUNT
from analytics.new_normal import Normal, after_judged_day
from analytics.state import State, stack_states
from analytics.watch import WIDTH

_ROWS, _COLUMNS = np.tril_indices(WIDTH)
_SIZES: Final = (EXPLANATION_COUNT * WIDTH, EXPLANATION_COUNT * len(_ROWS), EXPLANATION_COUNT)
_CODEC: Final = pa.Codec("lz4")
_BYTES: Final = 8


class CarriedStates:
    """The states of many lanes, in one batch for as long as the same lanes are judged.

    Only half of a covariance is written down: a day leaves both halves equal to the last bit, so that a state
    carried is exactly as it would be read again.
    """

    def __init__(self, begun: Mapping[int, State]) -> None:
        """Take up the states of the lanes, by number, that go on from one."""
        self._apart = dict(begun)
        self._places: dict[int, int] = {}
        self._together: State | None = None

    def has(self, lane: int) -> bool:
        """Tell whether a lane has begun."""
        return lane in self._apart or lane in self._places

    def begin(self, lane: int, state: State) -> None:
        """Let a lane begin with a state, a batch of one."""
        self._apart[lane] = state

    def of(self, which: Sequence[int]) -> State:
        """Return the states of some lanes, all begun, as a batch that `keep` is to follow."""
        if self._together is None or tuple(self._places) != tuple(which):
            ones = [self._one(lane) for lane in which]
            for lane in self._places.keys() - set(which):
                # A copy: who stays behind must not hold on to the whole batch.
                self._apart[lane] = stack_states([self._one(lane)])
            self._together = stack_states(ones)
            self._places = {lane: place for place, lane in enumerate(which)}
            for lane in which:
                self._apart.pop(lane, None)
        return self._together

    def keep(self, state: State) -> None:
        """Keep the states of the lanes of `of` after their day."""
        self._together = state

    def settle(self, lane: int, normal: Normal) -> Normal:
        """Count a lane's judged day for its new normal, which may take up what its state holds."""
        if not normal:
            return normal
        before = self._one(lane)
        state, after = after_judged_day(before, normal)
        if state is not before and self._together is not None:
            self._put(self._together, self._places[lane], state)
        return after

    def written(self, lane: int) -> bytes:
        """Return a lane's state as it is written down."""
        return state_as_bytes(self._one(lane), 0)

    def _one(self, lane: int) -> State:
        if self._together is None or lane not in self._places:
            return self._apart[lane]
        one = slice(self._places[lane], self._places[lane] + 1)
        return State(*(getattr(self._together, name)[one] for name in State.__slots__))

    def _put(self, together: State, place: int, state: State) -> None:
        # What is still to be told of the day holds the batch's own arrays: they are left as they are.
        parts = {name: getattr(together, name).copy() for name in State.__slots__}
        for name, part in parts.items():
            part[place] = getattr(state, name)[0]
        self._together = State(**parts)


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
