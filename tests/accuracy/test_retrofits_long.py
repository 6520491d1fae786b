"""Two hundred planted changes: how often the interval holds the saving, how often a promise is met."""

import pytest

from tests.accuracy.retrofits import summary, table

REPEATS = 200
pytestmark = [pytest.mark.long, pytest.mark.timeout(7200)]


def test_intervals_hold_the_planted_saving_and_a_promise_of_just_that_is_rarely_called_met() -> None:
    found = table(9117, range(REPEATS))
    told = summary(found)
    print(told.round(2).to_string())
    assert 85.0 <= told["held_90"]["all"] <= 95.0
    assert told["met"]["all"] <= 18
    # Two standard errors of what is found on so many.
    assert abs(told["bias"]["all"]) <= 2.0 * told["rmse"]["all"] / REPEATS**0.5
