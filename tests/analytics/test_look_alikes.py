"""Which causes look alike: at one speed belt and fouled wheel, over a range of torques no more."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.arrays import Floats
from analytics.day_reading import DayReading, read_day
from analytics.explanations import CAUSE_COUNT, EXPLANATIONS, IS_ACTIVE
from analytics.look_alikes import DAYS_TOGETHER, squared_distances, undecided_weights
from analytics.model import CAUSES, INDEX, Operating, Parameter, expect
from analytics.state import State, start
from analytics.watch import CARRIED, WIDTH, Watch, stack_watches, watch
from tests.analytics.planted import DAY, MACHINE, planted_curves, planted_day

# Days of this fan differ by a per cent in pressure and by half of one in load, as a site's do.
CURVES = replace(planted_curves(), day_covariance=np.diag([1e-4, 2.5e-5]))
OF_A_FAULT = [CARRIED.index(name) for name in (Parameter.SLIP_STEEPNESS, Parameter.WHEEL_TORQUE)]
NOTHING, SLIP, WHEEL, DRAG, GAIN = (
    EXPLANATIONS.index(chosen)
    for chosen in (
        (),
        (Parameter.SLIP,),
        (Parameter.WHEEL,),
        (Parameter.DRAG,),
        (Parameter.PRESSURE_GAIN,),
    )
)
SIZES = {Parameter.SLIP: 0.04, Parameter.WHEEL: 0.11, Parameter.DRAG: 0.06, Parameter.PRESSURE_GAIN: -0.08}


def state_with(sizes: dict[Parameter, float]) -> State:
    """A state under each of whose explanations what is at work has the size named."""
    begun = start(CURVES, MACHINE)
    mean = begun.mean.copy()
    for cause, size in sizes.items():
        place = CAUSES.index(cause)
        mean[:, IS_ACTIVE[:, place], place] = size
    # Of the ratios a fouled wheel's torque and pressure may have, that of a belt.
    mean[:, WHEEL, CARRIED.index(Parameter.WHEEL_TORQUE)] = 0.57
    return replace(begun, mean=mean)


def reading_of(state: State, constants: Watch, hours: Operating) -> DayReading:
    return read_day(state.mean[:, SLIP], constants, hours)


def at_one_speed() -> Operating:
    """A day of a fan kept at one point of its curve, its belt slipping as the state has it."""
    one = np.ones((1, DAY))
    hours = Operating(0.97 * one, 0.97 * one, one, one, one, one > 0)
    theta = CURVES.mean[None].copy()
    theta[0, INDEX[Parameter.SLIP]] = SIZES[Parameter.SLIP]
    true = expect(theta, CURVES.plant, hours)
    return replace(hours, pressure=true.pressure, load=true.load)


def distances(hours: Operating) -> Floats:
    state, constants = state_with(SIZES), watch(CURVES, MACHINE)
    return squared_distances(state, reading_of(state, constants, hours), constants)[0]


def test_a_belt_and_a_wheel_are_alike_at_one_speed_and_not_over_a_range_of_torques() -> None:
    hours = planted_day(CURVES, seed=3)
    narrow, wide = distances(at_one_speed()), distances(hours)
    assert narrow[SLIP, WHEEL] < 4.0
    assert wide[SLIP, WHEEL] > 2.0 * narrow[SLIP, WHEEL]
    # A drag moves the load alone, a pressure gain the pressure alone: no range is needed.
    assert narrow[DRAG, GAIN] > 25.0


def test_the_distance_is_that_of_dense_algebra() -> None:
    state, constants = state_with(SIZES), watch(CURVES, MACHINE)
    reading = reading_of(state, constants, planted_day(CURVES, seed=3))
    found = squared_distances(state, reading, constants)[0]
    # The covariance of readings of unit variance a month together, with what lasts shared by all of them.
    strength, directions = np.linalg.eigh(DAYS_TOGETHER * reading.information[0])
    design = (np.sqrt(np.maximum(strength, 0.0)) * directions).T
    spread = np.eye(WIDTH) + design @ constants.lasting[0] @ design.T

    def nearest(*causes: Parameter) -> float:
        seen, near = (design[:, CARRIED.index(cause)] * SIZES[cause] for cause in causes)
        sizes = np.linspace(0.0, 3.0, 3001)
        apart = seen - sizes[:, None] * near
        return float((apart * np.linalg.solve(spread, apart.T).T).sum(axis=1).min())

    assert found[SLIP, GAIN] == pytest.approx(nearest(Parameter.SLIP, Parameter.PRESSURE_GAIN), rel=1e-4)
    assert found[GAIN, SLIP] == pytest.approx(nearest(Parameter.PRESSURE_GAIN, Parameter.SLIP), rel=1e-4)
    assert np.diag(found) == pytest.approx(np.zeros(len(EXPLANATIONS)), abs=1e-9)


def told(leading: int, hours: Operating, faults: tuple[int, ...] = (SLIP, WHEEL, DRAG)) -> Floats:
    """The explanations' weights where one leads all others by a million to one, each its own cause."""
    state, constants = state_with(SIZES), watch(CURVES, MACHINE)
    weight = np.full((1, len(EXPLANATIONS)), 1e-6)
    weight[0, leading] = 1.0
    told_as = np.zeros((1, len(EXPLANATIONS), len(faults) + 1))
    told_as[..., 0] = 1.0
    for place, fault in enumerate(faults, start=1):
        told_as[0, fault] = np.arange(len(faults) + 1) == place
    return undecided_weights(weight, told_as, state, reading_of(state, constants, hours), constants)[0]


def test_no_evidence_rules_out_what_looks_the_same_but_how_rare_it_is_counts() -> None:
    hours = at_one_speed()
    apart = distances(hours)
    onset = watch(CURVES, MACHINE).beliefs.log_daily_onset[0]
    of_belt, of_wheel = told(SLIP, hours), told(WHEEL, hours)
    rarer = np.exp(onset[WHEEL] - onset[SLIP])
    assert of_belt[WHEEL] / of_belt[SLIP] == pytest.approx(
        rarer * np.exp(-0.5 * apart[SLIP, WHEEL]), rel=1e-6
    )
    # A belt is the commoner: it is held as likely as the wheel at most, whatever speaks for the wheel.
    held = min(1.0, np.exp(-0.5 * apart[WHEEL, SLIP]) / rarer)
    assert of_wheel[SLIP] / of_wheel[WHEEL] == pytest.approx(held, rel=1e-6)


def test_what_looks_different_stays_ruled_out_and_so_does_what_shows_nothing() -> None:
    hours = at_one_speed()
    assert told(SLIP, hours)[DRAG] < 1e-5
    assert told(SLIP, hours)[NOTHING] < 1e-5
    assert told(SLIP, hours, faults=(SLIP, DRAG))[WHEEL] < 1e-5


def test_a_fan_alone_has_the_same_bits_as_in_a_batch() -> None:
    state, constants = state_with(SIZES), watch(CURVES, MACHINE)
    days = [planted_day(CURVES, seed=seed) for seed in (3, 4, 5)]
    hours = Operating(*(np.concatenate([getattr(one, name) for one in days]) for name in Operating.__slots__))
    several = State(*(np.repeat(getattr(state, name), 3, axis=0) for name in State.__slots__))
    together = stack_watches([constants] * 3)
    found = squared_distances(several, reading_of(several, together, hours), together)
    for i, one in enumerate(days):
        alone = squared_distances(state, reading_of(state, constants, one), constants)
        assert np.array_equal(alone[0], found[i])


def test_curves_may_be_off_at_the_ends_of_their_range_by_what_lasts_and_by_their_own_shape() -> None:
    lasting = watch(CURVES, MACHINE).lasting[0]
    begun = start(CURVES, MACHINE).covariance[0, 0]
    added = lasting - begun
    slopes = [CARRIED.index(name) for name in (Parameter.PRESSURE_SLOPE, Parameter.TORQUE_SLOPE)]
    half = 0.5 * (CURVES.greatest_x - CURVES.least_x)
    # Three fifths of a day's own deviation last, and a curve departs by a hundredth from a quadratic: at half
    # the range from its middle the slope moves as much.
    wanted = (0.36 * np.diag(CURVES.day_covariance) + 1e-4) / half**2
    assert added[slopes, slopes] == pytest.approx(wanted, rel=1e-9)
    assert not lasting[OF_A_FAULT].any()
    added[slopes, slopes] = added[OF_A_FAULT, OF_A_FAULT] = 0.0
    assert not added.any()
    assert np.diag(lasting)[:CAUSE_COUNT] == pytest.approx(watch(CURVES, MACHINE).beliefs.ordinary[0])
