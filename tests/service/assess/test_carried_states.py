"""Lanes' states kept in one batch: who is judged on which days moves nobody's state."""

import numpy as np

from analytics.explanations import EXPLANATION_COUNT
from analytics.state import State
from analytics.watch import WIDTH
from service.assess.states import CarriedStates, state_as_bytes


def _state(number: float) -> State:
    covariance = np.broadcast_to(number * np.eye(WIDTH), (1, EXPLANATION_COUNT, WIDTH, WIDTH)).copy()
    mean = np.full((1, EXPLANATION_COUNT, WIDTH), number)
    return State(mean, covariance, np.full((1, EXPLANATION_COUNT), -number))


def _a_day_later(state: State) -> State:
    return State(state.mean + 10.0, state.covariance + 10.0, state.log_weight - 10.0)


def test_lanes_that_come_and_go_keep_their_own_states() -> None:
    states = CarriedStates({2: _state(2.0)})
    assert states.has(2)
    assert not states.has(5)
    states.begin(5, _state(5.0))
    states.begin(7, _state(7.0))
    for which in ((2, 5, 7), (5, 7), (7, 2), (2, 5, 7)):
        states.keep(_a_day_later(states.of(which)))
    # Judged on three days each; the order of a batch is that of its lanes on the day.
    for lane, begun in ((2, 2.0), (5, 5.0), (7, 7.0)):
        judged = sum(lane in which for which in ((2, 5, 7), (5, 7), (7, 2), (2, 5, 7)))
        expected = _state(begun)
        for _ in range(judged):
            expected = _a_day_later(expected)
        assert states.written(lane) == state_as_bytes(expected, 0)
