"""A fault begins on a sound fan or beside another: what speaks against a rival is not forgotten overnight."""

import numpy as np
import pytest

from analytics.explanations import CAUSE_COUNT, EXPLANATION_COUNT, EXPLANATIONS, Beliefs
from analytics.model import Parameter
from analytics.onsets import begun

NONE, SLIP, WHEEL, DRAG = (
    EXPLANATIONS.index(chosen) for chosen in ((), (Parameter.SLIP,), (Parameter.WHEEL,), (Parameter.DRAG,))
)
SLIP_AND_DRAG = EXPLANATIONS.index((Parameter.SLIP, Parameter.DRAG))
CHANCES = {SLIP: 0.002, DRAG: 0.0005, WHEEL: 0.0002, SLIP_AND_DRAG: 0.00004}
IMPOSSIBLE = -1e9


def believed(fans: int = 1) -> Beliefs:
    onset = np.full((fans, EXPLANATION_COUNT), IMPOSSIBLE)
    onset[:, NONE] = 0.0
    for place, chance in CHANCES.items():
        onset[:, place] = np.log(chance)
    nothing = np.zeros((fans, CAUSE_COUNT))
    return Beliefs(nothing, nothing, nothing, nothing, onset)


def held(**shares: float) -> np.ndarray:
    places = {"none": NONE, "slip": SLIP, "wheel": WHEEL, "drag": DRAG, "both": SLIP_AND_DRAG}
    weight = np.full((1, EXPLANATION_COUNT), 1e-100)
    for name, share in shares.items():
        weight[0, places[name]] = share
    return np.log(weight / weight.sum())


def after(log_weight: np.ndarray, days: float = 1.0) -> np.ndarray:
    return np.exp(begun(log_weight, believed(), np.array([days])))[0]


@pytest.mark.parametrize("days", [1.0, 3.0])
def test_on_a_sound_fan_every_fault_begins_by_its_own_chance(days: float) -> None:
    weight = after(held(none=1.0), days)
    for place, chance in CHANCES.items():
        assert weight[place] == pytest.approx(chance * days, rel=1e-9)


def test_a_rival_of_the_fault_at_work_comes_only_by_way_of_a_sound_fan() -> None:
    sound = 1e-6
    weight = after(held(slip=1.0, none=sound))
    assert weight[WHEEL] == pytest.approx(sound * CHANCES[WHEEL], rel=1e-4)


def test_a_second_fault_begins_beside_the_first_by_its_own_chance() -> None:
    weight = after(held(slip=1.0))
    assert weight[SLIP_AND_DRAG] == pytest.approx(CHANCES[DRAG], rel=1e-9)
    assert after(held(drag=1.0))[SLIP_AND_DRAG] == pytest.approx(CHANCES[SLIP], rel=1e-9)


def test_work_that_nobody_logged_may_end_a_fault_or_one_of_two() -> None:
    ends = max(CHANCES.values())
    assert after(held(slip=1.0))[NONE] == pytest.approx(ends, rel=1e-9)
    both = after(held(both=1.0))
    assert both[SLIP] == pytest.approx(ends, rel=1e-9)
    assert both[DRAG] == pytest.approx(ends, rel=1e-9)


def test_what_cannot_act_on_a_fan_never_begins() -> None:
    ratio = EXPLANATIONS.index((Parameter.RATIO,))
    log_weight = held(none=1.0)
    told = begun(log_weight, believed(), np.array([30.0]))
    assert told[0, ratio] == log_weight[0, ratio]


def test_a_fan_gets_the_same_bits_alone_and_in_a_batch() -> None:
    draw = np.random.default_rng(3)
    log_weight = np.log(draw.dirichlet(np.ones(EXPLANATION_COUNT), size=7))
    days = draw.uniform(1.0, 5.0, 7)
    together = begun(log_weight, believed(7), days)
    for i in range(7):
        alone = begun(log_weight[i : i + 1], believed(), days[i : i + 1])
        np.testing.assert_array_equal(alone[0], together[i])
