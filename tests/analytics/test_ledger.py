"""A day's row: what it says of a drag that no bearing can have, and which cause it names."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.arrays import Floats
from analytics.day_reading import read_day
from analytics.explanations import EXPLANATIONS
from analytics.judging import day, fan_day, first_state, fleet
from analytics.ledger import NAMED_CAUSES, LedgerRows, cause_shares, verdict
from analytics.model import Parameter
from analytics.motor import line_power_from_shaft_power
from analytics.state import State
from analytics.vocabulary import Cause
from analytics.watch import CARRIED
from tests.analytics.planted import MACHINE, planted_curves, planted_operating, planted_theta, scaled


def judged(days: int, load: float) -> LedgerRows:
    """The row of the last of so many days whose load reads a share of what it is."""
    curves = planted_curves()
    batch, state = fleet([curves], [MACHINE]), first_state(curves, MACHINE)
    rows = None
    for i in range(days):
        hours = scaled(planted_operating(planted_theta(), 24, seed=1000 + i))
        hours.load[:] *= 1.0 - (1.0 - load) * (i + 1) / days
        state, rows = day(batch, state, [fan_day(hours, curves, (), 1.0)])
    assert rows is not None
    return rows


def test_a_load_that_reads_less_is_no_surety_that_the_bearings_give_power_back() -> None:
    rows = judged(20, 0.93)
    assert rows.drag_ref_pct[0] < 0.0
    assert rows.drag_ref_high_pct[0] > 0.0
    assert np.all(rows.drive_loss_change_high_pct > 0.0)


@pytest.mark.parametrize("has_vfd", [True, False])
def test_excess_power_is_what_the_line_brings_where_the_line_is_read(has_vfd: bool) -> None:
    # Oracle: the line's draw with the excess at the shaft less that without it.
    curves = planted_curves()
    batch, state = fleet([curves], [MACHINE]), first_state(curves, MACHINE)
    facts = replace(batch.facts, has_line_power=np.array([True]), has_vfd=np.array([has_vfd]))
    metered = replace(batch, facts=facts)
    hours = scaled(planted_operating(planted_theta(drag=0.06), 24, seed=5))
    today = fan_day(hours, curves, (), 1.0)
    (_, at_shaft), (_, at_line) = (day(one, state, [today]) for one in (batch, metered))
    rated_w = MACHINE.motor_rated_power_w * MACHINE.motor_count
    excess_w = 1000.0 * float(at_shaft.excess_kw[0])
    assert excess_w > 0.01 * rated_w
    operating = today.operating
    torque, speed = operating.load[0], operating.speed[0]
    shaft_w = float((torque * speed).mean()) * rated_w
    # A motor without a drive, as one of two speeds, has the line's frequency at any speed.
    frequency = float(speed.mean()) if has_vfd else 1.0
    drawn, without = (
        float(line_power_from_shaft_power(shaft, rated_w, has_vfd, None, frequency))
        for shaft in (shaft_w, shaft_w - excess_w)
    )
    assert 1000.0 * float(at_line.excess_kw[0]) == pytest.approx(drawn - without, rel=0.02)
    assert at_line.excess_kw[0] > (1.02 if has_vfd else 0.98) * at_shaft.excess_kw[0]


def test_a_cause_that_may_come_in_several_ways_is_no_likelier_for_that() -> None:
    curves = planted_curves()
    constants = fleet([curves], [MACHINE]).watch
    begun = first_state(curves, MACHINE)
    mean = begun.mean.copy()
    slips = [i for i, chosen in enumerate(EXPLANATIONS) if Parameter.SLIP in chosen]
    wheel = EXPLANATIONS.index((Parameter.WHEEL,))
    mean[:, slips, CARRIED.index(Parameter.SLIP)] = 0.05
    mean[:, wheel, CARRIED.index(Parameter.WHEEL)] = 0.08
    state = State(mean, 1e-4 * begun.covariance, begun.log_weight)
    hours = planted_operating(planted_theta(), 24, seed=1)
    reading = read_day(mean[:, 0], constants, fan_day(scaled(hours), curves, (), 1.0).operating)

    def shares(ways: list[int]) -> Floats:
        weight = np.zeros((1, len(EXPLANATIONS)))
        weight[0, ways] = 0.7 / len(ways)
        weight[0, wheel] = 0.3
        return cause_shares(state, weight, reading, constants)[0]

    one, several = shares(slips[:1]), shares(slips)
    np.testing.assert_allclose(several, one, rtol=1e-9)
    told = one[NAMED_CAUSES.index(Cause.BELT_SLIP)]
    # Days repeat one another: of the odds of 7 to 3 less than half count.
    assert told / one[NAMED_CAUSES.index(Cause.WHEEL)] == pytest.approx((7.0 / 3.0) ** 0.45, rel=1e-9)


def test_a_cause_is_told_as_far_as_its_size_is_likely_to_matter_and_flips_at_no_threshold() -> None:
    curves = planted_curves()
    constants = fleet([curves], [MACHINE]).watch
    begun = first_state(curves, MACHINE)
    slip, alone = CARRIED.index(Parameter.SLIP), EXPLANATIONS.index((Parameter.SLIP,))
    hours = planted_operating(planted_theta(), 24, seed=1)
    reading = read_day(begun.mean[:, 0], constants, fan_day(scaled(hours), curves, (), 1.0).operating)
    weight = np.zeros((1, len(EXPLANATIONS)))
    weight[0, alone] = 1.0

    def share(size: float, deviation: float) -> float:
        mean, covariance = begun.mean.copy(), 1e-6 * begun.covariance
        mean[:, alone, slip], covariance[:, alone, slip, slip] = size, deviation**2
        shares = cause_shares(State(mean, covariance, begun.log_weight), weight, reading, constants)[0]
        told = shares[NAMED_CAUSES.index(Cause.BELT_SLIP)]
        assert shares[NAMED_CAUSES.index(Cause.NONE)] == pytest.approx(1.0 - told)
        return float(told)

    told = [share(size, 0.001) for size in np.arange(0.0, 0.02, 0.0002)]
    assert told[0] < 0.01
    assert told[-1] > 0.99
    # A normal's steepest rise over a fifth of its deviation is a twelfth.
    assert np.min(np.diff(told)) >= 0.0
    assert np.max(np.diff(told)) < 0.09


def test_what_an_explanation_holds_to_be_at_work_is_told_before_a_wander_beside_it() -> None:
    curves = planted_curves()
    constants = fleet([curves], [MACHINE]).watch
    begun = first_state(curves, MACHINE)
    wheel, alone = CARRIED.index(Parameter.WHEEL), EXPLANATIONS.index((Parameter.WHEEL,))
    gain = CARRIED.index(Parameter.PRESSURE_GAIN)
    hours = planted_operating(planted_theta(), 24, seed=1)
    reading = read_day(begun.mean[:, 0], constants, fan_day(scaled(hours), curves, (), 1.0).operating)
    weight = np.zeros((1, len(EXPLANATIONS)))
    weight[0, alone] = 1.0
    mean, covariance = begun.mean.copy(), 1e-6 * begun.covariance
    # The wander is the larger, and the surer.
    mean[:, :, gain], covariance[:, :, gain, gain] = -0.08, 0.01**2
    mean[:, alone, wheel], covariance[:, alone, wheel, wheel] = 0.06, 0.04**2
    state = State(mean, covariance, begun.log_weight)
    shares = cause_shares(state, weight, reading, constants)[0]
    told = shares[NAMED_CAUSES.index(Cause.WHEEL)]
    # Of a size of six hundredths, four off, the part past two is five in six.
    assert told == pytest.approx(0.84, abs=0.03)
    assert shares[NAMED_CAUSES.index(Cause.NONE)] == pytest.approx(1.0 - told)
    # Where nothing is held to be at work, a wander is told where it is surely there.
    weight[0, alone], weight[0, 0] = 0.0, 1.0
    shares = cause_shares(state, weight, reading, constants)[0]
    assert shares[NAMED_CAUSES.index(Cause.PRESSURE_SENSOR)] > 0.99


@pytest.mark.parametrize(
    ("none", "slip", "cause"),
    [
        (0.6, 0.4, Cause.NONE),
        (0.4, 0.35, Cause.UNCLEAR),
        (0.2, 0.8, Cause.BELT_SLIP),
        (0.3, 0.7, Cause.UNCLEAR),
    ],
)
def test_a_fan_is_sound_only_where_that_is_likelier_than_a_fault(
    none: float, slip: float, cause: Cause
) -> None:
    shares = np.zeros(len(NAMED_CAUSES))
    shares[NAMED_CAUSES.index(Cause.NONE)] = none
    shares[NAMED_CAUSES.index(Cause.BELT_SLIP)] = slip
    shares[NAMED_CAUSES.index(Cause.WHEEL)] = 1.0 - none - slip
    told, share, rest = verdict(shares)
    assert told is cause
    assert share == max(none, slip)
    assert Cause.BELT_SLIP in rest
