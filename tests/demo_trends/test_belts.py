"""Belts: torque is carried whole, speed is lost, tension relaxes."""

import numpy as np
import pytest

from demo_trends.belts import Belt, SlipLaw, Tension
from demo_trends.draw import BELT_LAWS, draw_belt

LAWS = [SlipLaw(shape, creep=0.015, steepness=5.0, knee=1.0) for shape in BELT_LAWS]


@pytest.mark.parametrize("law", LAWS, ids=BELT_LAWS)
class TestSlipLaw:
    def test_without_torque_there_is_no_slip(self, law: SlipLaw) -> None:
        assert law.slip(np.zeros(1))[0] < 1e-4

    def test_slip_grows_with_load_and_stays_below_one(self, law: SlipLaw) -> None:
        slip = law.slip(np.linspace(0, 4, 400))
        assert np.all(np.diff(slip) >= 0)
        assert np.all(slip <= 1)
        assert np.all(np.diff(slip[:200]) > 0)

    def test_creep_is_straight_below_the_knee_and_slip_steep_above_it(self, law: SlipLaw) -> None:
        quarter, half = law.slip(np.array([0.25, 0.5]))
        assert half == pytest.approx(2 * quarter, rel=0.25)
        below = np.diff(law.slip(np.array([0.4, 0.5])))
        above = np.diff(law.slip(np.array([1.15, 1.25])))
        assert above > 5 * below

    def test_healthy_creep_is_below_two_per_cent_under_the_usual_load(self, law: SlipLaw) -> None:
        """Normal creep 1 to 2 %: a trade glossary, no standard."""
        assert 0.003 < law.slip(np.array([0.6]))[0] < 0.02

    def test_the_load_for_a_slip_gives_that_slip(self, law: SlipLaw) -> None:
        slip = np.linspace(0.002, 0.3, 40)
        np.testing.assert_allclose(law.slip(law.load_for(slip)), slip, rtol=2e-3)


def test_most_of_the_early_loss_of_tension_comes_in_two_days() -> None:
    """Makers ask for a recheck in the first 24 to 48 h (TM 5-4310-339-15; McQuay IM-487)."""
    at = Tension().after(np.array([0.0, 2.0, 60.0, 20_000.0]))
    assert at[0] - at[1] > 5 * (at[1] - at[2])
    assert np.all(np.diff(at) < 0)
    assert at[3] == pytest.approx(Tension().loose, abs=1e-3)


def test_a_looser_belt_slips_more_at_the_same_torque() -> None:
    belt = draw_belt(np.random.default_rng(1), "v_belt", 0.7)
    slip = belt.slip(np.full(3, 0.7), np.array([1.0, 0.6, 0.4]))
    assert np.all(np.diff(slip) > 0)
    assert slip[2] > 3 * slip[0]


def test_the_tension_for_a_slip_gives_that_slip() -> None:
    belt = draw_belt(np.random.default_rng(2), "cogged_belt", 0.6)
    wanted = np.array([0.01, 0.03, 0.08])
    np.testing.assert_allclose(belt.slip(np.full(3, 0.6), belt.tension_for(wanted, 0.6)), wanted, rtol=5e-3)


@pytest.mark.parametrize("kind", ["synchronous_belt", "direct"])
def test_teeth_and_couplings_do_not_slip(kind: str) -> None:
    belt = draw_belt(np.random.default_rng(3), kind, 0.7)
    assert np.all(belt.slip(np.linspace(0, 2, 20), np.ones(20)) == 0)
    with pytest.raises(ValueError, match="cannot slip"):
        belt.tension_for(np.array([0.05]), 0.7)


def test_a_direct_drive_bends_no_belt() -> None:
    assert Belt("direct", flexing=0.0).flexing_fraction(np.ones(1))[0] == 0
    assert draw_belt(np.random.default_rng(4), "direct", 0.7).flexing == 0


@pytest.mark.parametrize("seed", range(40))
def test_a_drawn_v_belt_loses_what_published_charts_allow(seed: int) -> None:
    """Belt loss at full load of drives from 1 to 100 hp: AMCA 203-90 chart, low to high loss, 2.7 to 13 %."""
    belt = draw_belt(np.random.default_rng(seed), "v_belt", 0.7)
    slip = belt.slip(np.array([0.7]), np.ones(1))[0]
    loss = 1 - (1 - slip) * (1 - belt.flexing_fraction(np.ones(1))[0] / 0.7)
    assert 0.02 < loss < 0.13
