"""Two hundred planted changes: how often the interval holds the saving, how often a promise is met."""

import pytest

from tests.accuracy.retrofits import table

REPEATS = 200
pytestmark = [pytest.mark.long, pytest.mark.timeout(7200)]


def test_intervals_hold_the_planted_saving_and_a_promise_of_just_that_is_rarely_called_met() -> None:
    found = table(77, range(400, 400 + REPEATS))
    print(found.groupby("kind")[["is_covered", "is_met"]].agg(["mean", "sum"]))
    assert 0.85 <= found["is_covered"].mean() <= 0.95
    assert found["is_met"].sum() <= 18
