"""Tachometer pairs: what they say of slip, what is refused, how they move the level."""

import numpy as np
import pytest

from analytics.priors import HEALTHY_SLIP_PCT
from analytics.tachometer import Pair, level_from, slip_of_pair


def test_the_textbook_drive_with_three_per_cent_slip_reads_three_per_cent() -> None:
    # Machine-elements textbook example: 2 m and 1 m sheaves with a 5 mm belt turn
    # 239.4 rpm without and 232.2 rpm with 3 % slip at 120 rpm.
    ratio = (2.0 + 0.005) / (1.0 + 0.005)
    assert slip_of_pair(120.0, 239.4, ratio) == pytest.approx(0.0, abs=0.03)
    assert slip_of_pair(120.0, 232.2, ratio) == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize("wheel_rpm", [1000.0 * 0.89, 1000.0 * 1.04, 500.0, 2000.0, 0.0, -1.0])
def test_a_harmonic_or_swapped_numbers_are_refused(wheel_rpm: float) -> None:
    assert slip_of_pair(1000.0, wheel_rpm, 1.0) is None


def pair(slip: float, change: float = 0.0, sd: float = 0.1, *, is_fresh: bool = False) -> Pair:
    return Pair(slip, change, sd, 1.0, is_fresh)


def test_without_a_pair_the_level_is_the_usual_creep() -> None:
    level = level_from([])
    assert (level.slip_pct, level.slip_sd_pct) == pytest.approx(HEALTHY_SLIP_PCT)


def test_a_pair_that_agrees_leaves_the_level_where_it_was_about_as_sure() -> None:
    level = level_from([pair(1.0)])
    assert level.slip_pct == pytest.approx(1.0, abs=0.1)
    assert 0.35 < level.slip_sd_pct < 0.55


def test_a_pair_far_above_what_was_inferred_sets_the_level_to_the_accuracy_of_the_sheaves() -> None:
    level = level_from([pair(6.0)])
    assert level.slip_pct == pytest.approx(6.0, abs=0.4)
    assert level.slip_sd_pct == pytest.approx(0.7, abs=0.1)


def test_a_pair_a_little_above_is_shared_between_level_and_ratio() -> None:
    level = level_from([pair(2.2)])
    assert 1.2 < level.slip_pct < 2.2


def test_the_inferred_change_is_not_taken_for_the_level() -> None:
    assert level_from([pair(5.0, 4.0, 0.2)]).slip_pct == pytest.approx(1.0, abs=0.1)


def test_two_pairs_fix_the_change_however_wrong_the_sheaves_are() -> None:
    # Sheaves 2 % off: the first pair teaches what the second would show of the same drive.
    shown, sd = level_from([pair(3.0)]).shown(1.0)
    assert shown == pytest.approx(3.0, abs=0.1)
    assert sd < 0.3


def test_a_pair_on_a_freshly_tensioned_belt_gives_the_ratio_itself() -> None:
    # The healthy period slipped by 4 points more than the belt just tensioned, on sheaves 0.7 % off.
    fresh = pair(1.7, -4.0, 0.2, is_fresh=True)
    level = level_from([fresh])
    assert level.mean[1] == pytest.approx(0.7, abs=0.3)
    assert np.sqrt(level.covariance[1, 1]) < 0.45
    assert level.slip_pct == pytest.approx(5.0, abs=0.35)
    assert level.slip_sd_pct < 0.55


def test_a_drive_without_declared_sheaves_has_its_ratio_by_a_fresh_pair() -> None:
    level = level_from([Pair(0.0, None, None, 1.0, is_fresh=True)], ratio_sd_pct=20.0)
    assert level.mean[1] == pytest.approx(-1.0, abs=0.05)
    assert np.sqrt(level.covariance[1, 1]) == pytest.approx(0.47, abs=0.05)
