"""A few planted changes, one of each kind; the long form draws two hundred."""

import pytest

from tests.accuracy.retrofits import KINDS, planted

pytestmark = pytest.mark.timeout(300)


@pytest.mark.parametrize("number", range(len(KINDS)))
def test_a_planted_saving_lies_within_the_interval_and_three_points(number: int) -> None:
    one = planted(77, 500 + number, KINDS[number])
    low, high = one.found.interval(0.99)
    assert low <= one.truth <= high
    assert one.found.fraction == pytest.approx(one.truth, abs=0.03)
