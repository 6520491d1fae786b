"""Tachometer pairs: what they say of slip, what is refused, how they move the level."""

import pytest

from analytics.priors import HEALTHY_SLIP_PCT
from analytics.tachometer import Pair, creep_from, slip_of_pair


def test_the_textbook_drive_with_three_per_cent_slip_reads_three_per_cent() -> None:
    # Machine-elements textbook example (check values 5): 2 m and 1 m sheaves with a 5 mm belt turn
    # 239.4 rpm without and 232.2 rpm with 3 % slip at 120 rpm.
    ratio = (2.0 + 0.005) / (1.0 + 0.005)
    assert slip_of_pair(120.0, 239.4, ratio) == pytest.approx(0.0, abs=0.03)
    assert slip_of_pair(120.0, 232.2, ratio) == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize("wheel_rpm", [1000.0 * 0.89, 1000.0 * 1.04, 500.0, 2000.0, 0.0, -1.0])
def test_a_harmonic_or_swapped_numbers_are_refused(wheel_rpm: float) -> None:
    assert slip_of_pair(1000.0, wheel_rpm, 1.0) is None


def test_without_a_pair_the_level_is_the_usual_creep() -> None:
    assert creep_from([]) == pytest.approx(HEALTHY_SLIP_PCT)


def test_a_pair_that_agrees_narrows_the_level_but_not_below_what_the_sheaves_allow() -> None:
    creep, sd = creep_from([Pair(slip_pct=1.0, change_pct=0.0, change_sd_pct=0.1, load_ratio=1.0)])
    assert creep == pytest.approx(1.0, abs=0.05)
    assert 0.35 < sd < HEALTHY_SLIP_PCT[1]


def test_a_pair_above_what_was_inferred_raises_the_level_by_the_part_the_ratio_does_not_explain() -> None:
    creep, _ = creep_from([Pair(slip_pct=2.0, change_pct=0.0, change_sd_pct=0.1, load_ratio=1.0)])
    assert 1.0 < creep < 1.6


def test_the_inferred_change_is_not_taken_for_creep() -> None:
    creep, _ = creep_from([Pair(slip_pct=5.0, change_pct=4.0, change_sd_pct=0.2, load_ratio=1.0)])
    assert creep == pytest.approx(1.0, abs=0.05)
