"""Spans, deflections, tensions and alignment, against published cases named beside each."""

import numpy as np
import pytest

from analytics.belt_tension import (
    alignment_tolerance_m,
    deflection_force_n,
    deflection_m,
    span_m,
    strand_tension,
    wrap_rad,
)

INCH = 0.0254
POUND_N = 4.4482216
HP = 745.69987


def test_the_published_drive_has_its_span_deflection_and_wrap() -> None:
    """Sheaves of 12 and 4 in at 24 in: span 23.66 in, deflection 0.370 in, wrap 160.8 degrees (calcady)."""
    span = span_m(24 * INCH, 4 * INCH, 12 * INCH)
    assert float(span) / INCH == pytest.approx(23.66, abs=0.005)
    assert float(deflection_m(span)) / INCH == pytest.approx(0.370, abs=0.0005)
    assert np.degrees(float(wrap_rad(24 * INCH, 4 * INCH, 12 * INCH))) == pytest.approx(160.8, abs=0.05)


def test_a_hundred_inches_give_one_and_nine_sixteenths() -> None:
    """US Army TM 5-4310-339-15."""
    assert float(deflection_m(100.0 * INCH)) / INCH == pytest.approx(1.0 + 9.0 / 16.0)


def test_ten_horsepower_on_five_inches_pull_as_computed() -> None:
    """10 hp, 5 in, 1750 rpm, half a turn: Te 144.1 lb, tight 180.1, slack 36.0."""
    found = strand_tension(10.0 * HP, 1750.0, 5.0 * INCH, np.pi)
    assert float(found.tight) / POUND_N == pytest.approx(180.1, abs=0.1)
    assert float(found.slack) / POUND_N == pytest.approx(36.0, abs=0.05)
    assert float(found.standing) / POUND_N == pytest.approx(216.1 / 2.0, abs=0.1)


@pytest.mark.parametrize(("degrees", "ratio"), [(180.0, 5.000), (150.0, 3.824), (120.0, 2.924)])
def test_the_v_belt_form_has_its_published_ratios(degrees: float, ratio: float) -> None:
    found = strand_tension(1000.0, 1500.0, 0.2, np.radians(degrees))
    assert float(found.tight / found.slack) == pytest.approx(ratio, abs=0.0015)


def test_a_string_pressed_at_its_middle_gives_by_statics() -> None:
    """Two halves of a span L pressed down by q each pull back by T sin: F = 2 T q / sqrt((L/2)^2 + q^2)."""
    tension, span = 400.0, 0.6
    q = span / 64.0
    exact = 2.0 * tension * q / np.hypot(span / 2.0, q)
    assert float(deflection_force_n(tension)) == pytest.approx(exact, rel=1e-3)


def test_sheaves_stand_within_half_a_degree() -> None:
    """1/10 in a foot is 0.477 degrees; 1/16 in a foot is 0.298."""
    assert np.degrees(np.arctan(float(alignment_tolerance_m(1.0, False)))) == pytest.approx(0.477, abs=0.001)
    assert np.degrees(np.arctan(float(alignment_tolerance_m(1.0, True)))) == pytest.approx(0.298, abs=0.001)


def test_sheaves_that_would_touch_have_no_span() -> None:
    assert np.isnan(span_m(0.2, 0.2, 0.3))
