"""Drift tests against published run lengths and worked examples; forecasts against planted drifts."""

from itertools import accumulate

import numpy as np
import pytest

from analytics.drift import average_run_length, forecast, summed, threshold_for

# Montgomery's example of thirty observations, mean 10, sigma 1, as quoted in the IMSL documentation.
MONTGOMERY = [
    9.45,
    7.99,
    9.29,
    11.66,
    12.16,
    10.18,
    8.04,
    11.46,
    9.20,
    10.34,
    9.03,
    11.47,
    10.51,
    9.40,
    10.08,
]
MONTGOMERY += [9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31]
MONTGOMERY += [10.52]


def test_the_sum_signals_on_montgomerys_twenty_ninth_observation() -> None:
    sums = np.array(
        list(accumulate(MONTGOMERY, lambda total, value: summed(total, value - 10.0), initial=0.0))
    )[1:]
    assert sums[25:30] == pytest.approx([3.47, 3.35, 4.47, 5.28, 5.30], abs=0.005)
    assert np.flatnonzero(sums > 5.0)[0] + 1 == 29


# One-sided run lengths, k 1/2, h 5: half the two-sided table of Montgomery, chapter 9 (465 and 38.0,
# 10.4, 4.01 with shift), the relation 1/ARL = 1/ARL+ + 1/ARL- from the JMP documentation.
@pytest.mark.parametrize(
    ("shift", "length"), [(0.0, 930.89), (0.5, 38.01), (1.0, 10.38), (1.5, 5.75), (2.0, 4.01), (3.0, 2.57)]
)
def test_run_lengths_are_the_published_ones(shift: float, length: float) -> None:
    assert average_run_length(5.0, shift) == pytest.approx(length, rel=2e-3)


def test_run_length_without_shift_is_twice_the_two_sided_one() -> None:
    # NIST/Montgomery two-sided values at k 1/2: 168 at h 4, 465 at h 5.
    assert average_run_length(4.0) / 2.0 == pytest.approx(168.0, rel=5e-3)
    assert average_run_length(5.0) / 2.0 == pytest.approx(465.0, rel=5e-3)


@pytest.mark.parametrize("rate", [0.05, 0.1, 0.4, 2.0])
def test_the_threshold_gives_the_rate_it_was_asked_for(rate: float) -> None:
    assert 365.25 / average_run_length(threshold_for(rate)) == pytest.approx(rate, rel=0.02)


def test_twenty_planted_drifts_are_held_by_the_interval_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(20250611)
    held = 0
    for _ in range(20):
        slope = rng.uniform(0.02, 0.05)
        start = rng.uniform(0.9, 1.3)
        crossing = (3.0 - start) / slope
        day = np.arange(np.floor(crossing * rng.uniform(0.5, 0.8)))
        # What a filter carries: half of yesterday's error and a new one.
        errors = np.zeros(len(day))
        for i in range(1, len(day)):
            errors[i] = 0.6 * errors[i - 1] + rng.normal(0.0, 0.15)
        found = forecast(day, start + slope * day + errors, 3.0)
        assert found is not None
        held += found.earliest_days <= crossing - day[-1] <= found.latest_days
    assert 13 <= held <= 19


def test_a_fan_without_a_trend_gets_no_forecast() -> None:
    rng = np.random.default_rng(1)
    silent = [forecast(np.arange(60.0), 1.0 + rng.normal(0.0, 0.2, 60), 3.0) is None for _ in range(200)]
    assert np.mean(silent) > 0.95


def test_past_the_limit_nothing_is_forecast() -> None:
    day = np.arange(40.0)
    assert forecast(day, 2.0 + 0.05 * day, 3.0) is None
