"""Grease against published cases named beside each."""

import pytest

from analytics.relubrication import bearing_factor, relubrication_hours


@pytest.mark.parametrize(
    ("rpm", "bore_mm", "words", "hours"),
    [
        (1780, 50, "ball", 9123),
        (1000, 60, "deep groove ball", 15_674),
        (1000, 60, "cylindrical roller", 7837),
        (1000, 60, "spherical roller", 1567),
        (900, 75, "spherical", 1496),
    ],
)
def test_intervals_are_the_formulas(rpm: float, bore_mm: float, words: str, hours: float) -> None:
    """Computed from the published formula (technische-antriebselemente.de, Tribology Handbook)."""
    factor = bearing_factor(words)
    assert factor is not None
    assert float(relubrication_hours(rpm, bore_mm, factor)) == pytest.approx(hours, abs=1.0)


def test_fifteen_kelvin_more_halve_it() -> None:
    """A bearing maker's sheet: half for each 15 K above 70 degC."""
    cool = float(relubrication_hours(1780, 50, 10.0))
    assert float(relubrication_hours(1780, 50, 10.0, 85.0)) == pytest.approx(cool / 2.0)
    assert float(relubrication_hours(1780, 50, 10.0, 40.0)) == cool


def test_a_slow_shaft_wants_grease_after_three_years_all_the_same() -> None:
    assert float(relubrication_hours(100, 25, 10.0)) == 26_280.0


def test_other_words_name_no_bearing() -> None:
    assert bearing_factor("sleeve") is None
