"""The daily step: a linear case against statsmodels, fans alone and in a batch, service, one-sided causes."""

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from analytics.arrays import Floats
from analytics.between_days import predict
from analytics.curves import HealthyCurves
from analytics.day_misfit import open_deviations
from analytics.day_reading import DayReading
from analytics.explanations import CAUSE_COUNT, IS_ACTIVE
from analytics.machine import Machine
from analytics.mixtures import held_weights
from analytics.model import CAUSES, INDEX, Operating, Parameter
from analytics.service_effects import after_service
from analytics.slip_law import slip_above_creep
from analytics.state import DayZeros, State, _kept, _met, opened, select, stack_states, start, update
from analytics.vocabulary import Drive, Work
from analytics.watch import CARRIED, WIDTH, Watch, stack_watches, watch
from tests.analytics.planted import MACHINE, PLANT, planted_curves, planted_day, planted_theta

NOTHING = DayZeros(*np.full((4, 1), np.nan))
NONE_HELD = np.zeros((1, CAUSE_COUNT), dtype=bool)
SLIP = CAUSES.index(Parameter.SLIP)


def _run(days: list[Operating], curves: HealthyCurves, machine: Machine) -> tuple[State, Watch]:
    state, constants = start(curves, machine), watch(curves, machine)
    for hours in days:
        state = predict(state, constants, np.array([1.0]))
        state, _ = update(state, constants, hours, NOTHING)
    return state, constants


def _mean(state: State, constants: Watch, cause: Parameter) -> float:
    weight = held_weights(state, constants.beliefs)
    return float((weight * state.mean[..., CAUSES.index(cause)]).sum())


def _linear(at: Floats, design: Floats, noise: Floats, seen: Floats) -> DayReading:
    """A day whose readings `seen`, with covariance `noise`, are `design` times what moves, off a point."""
    return DayReading(
        at,
        (design.T @ np.linalg.solve(noise, design))[None],
        (design.T @ np.linalg.solve(noise, seen))[None],
        np.zeros((1, 2, WIDTH)),
        np.zeros((1, 2)),
        *(np.ones((1, 1)) for _ in range(3)),
    )


def test_one_day_of_a_linear_model_is_the_kalman_filter_of_statsmodels() -> None:
    rng = np.random.default_rng(5)
    curves = planted_curves()
    state = start(curves, MACHINE)
    # The curves are taken as known: with errors the step is no Kalman filter, as it does not learn them.
    covariance = state.covariance.copy()
    first_curve = CARRIED.index(Parameter.PRESSURE_LEVEL)
    covariance[..., first_curve:, :] = 0.0
    covariance[..., :, first_curve:] = 0.0
    for i in range(first_curve, WIDTH):
        covariance[..., i, i] = 1e-14
    # What is learned is taken off the covariance that was given.
    state = replace(state, covariance=covariance.copy())
    design = rng.normal(size=(6, WIDTH))
    design[:, first_curve:] = 0.0
    noise = np.diag(rng.uniform(0.5, 2.0, 6)) * 1e-3
    seen = 0.01 * rng.normal(size=6)
    reading = _linear(state.mean[:, 0], design, noise, seen)
    constants = watch(curves, MACHINE)
    met = _met(state, constants, reading, open_deviations(covariance), NONE_HELD)
    after = _kept(state, constants, met)
    oracle = KalmanFilter(k_endog=6, k_states=WIDTH)
    oracle.bind(np.asfortranarray(seen[:, None]))
    oracle["design"], oracle["obs_cov"] = design, noise
    oracle["transition"], oracle["selection"] = np.eye(WIDTH), np.eye(WIDTH)
    oracle.initialize_known(np.zeros(WIDTH), covariance[0, 0])
    result = oracle.filter()
    moved = after.mean[0, 0] - state.mean[0, 0]
    assert moved[:first_curve] == pytest.approx(result.filtered_state[:first_curve, 0], abs=2e-7)
    found = np.diag(after.covariance[0, 0])[:first_curve]
    assert found == pytest.approx(np.diag(result.filtered_state_cov[..., 0])[:first_curve], rel=1e-4)


def test_a_cause_that_walks_weighs_its_days_as_nists_moving_average_does() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: lambda 0.3, target 50, s 2.0539. A random walk
    # read once a day is followed by an exponentially weighted mean, once its variance has come to rest.
    readings = (
        *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
        *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
    )
    published = (
        *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    )
    share, scale = 0.3, 1e-4
    noise = np.array([[(2.0539 * scale) ** 2]])
    carried = noise[0, 0] * share / (1.0 - share)
    gain = CAUSES.index(Parameter.PRESSURE_GAIN)
    curves = planted_curves()
    state, constants = start(curves, MACHINE), watch(curves, MACHINE)
    covariance = np.zeros_like(state.covariance)
    covariance[..., range(WIDTH), range(WIDTH)] = 1e-16
    covariance[..., gain, gain] = carried
    state = replace(state, covariance=covariance)
    design = np.zeros((1, WIDTH))
    design[0, gain] = 1.0
    walked = np.zeros((1, CAUSE_COUNT))
    walked[0, gain] = share * carried
    found = []
    for value in readings:
        seen = np.array([(value - 50.0) * scale])
        reading = _linear(np.zeros((1, WIDTH)), design, noise, seen)
        met = _met(state, constants, reading, open_deviations(state.covariance), NONE_HELD)
        state = _kept(state, constants, met)
        found.append(50.0 + state.mean[0, 0, gain] / scale)
        state = opened(state, walked)
    assert found == pytest.approx(published, abs=0.0051)


def test_a_fan_alone_has_the_same_bits_as_in_a_batch() -> None:
    curves = [planted_curves(level) for level in (0.0, 0.05, -0.03)]
    constants = [watch(c, MACHINE) for c in curves]
    days = [planted_day(c, seed=i, slip=0.02 * i) for i, c in enumerate(curves)]
    hours = Operating(*(np.concatenate([getattr(one, name) for one in days]) for name in Operating.__slots__))
    together = predict(
        stack_states([start(c, MACHINE) for c in curves]), stack_watches(constants), np.ones(3)
    )
    zeros = DayZeros(*np.full((4, 3), np.nan))
    together, _ = update(together, stack_watches(constants), hours, zeros)
    for i, one in enumerate(curves):
        alone = predict(start(one, MACHINE), constants[i], np.array([1.0]))
        alone, _ = update(alone, constants[i], days[i], NOTHING)
        part = select(together, np.arange(3) == i)
        for name in State.__slots__:
            assert np.array_equal(getattr(part, name), getattr(alone, name)), name


def test_a_day_is_looked_at_again_where_it_lies_far_from_what_was_known_and_only_there() -> None:
    curves = planted_curves()
    constants = stack_watches([watch(curves, MACHINE)] * 2)
    state = predict(stack_states([start(curves, MACHINE)] * 2), constants, np.ones(2))
    days = [planted_day(curves, seed=1, slip=slip) for slip in (0.0, 0.08)]
    hours = Operating(*(np.concatenate([getattr(one, name) for one in days]) for name in Operating.__slots__))
    known = (state.weight[:, None] @ state.mean)[:, 0]
    after, reading = update(state, constants, hours, DayZeros(*np.full((4, 2), np.nan)))
    assert np.array_equal(reading.at[0], known[0])
    # The day's last look is taken on the way to where it is found to lie.
    found = after.weight[1] @ after.mean[1]
    assert abs(known[1, SLIP]) < 0.001
    assert abs(reading.at[1, SLIP] - found[SLIP]) < 0.5 * found[SLIP]


def test_both_halves_of_a_covariance_are_equal_to_the_last_bit() -> None:
    # Half of each is written down, and a state read again must be the state that was carried.
    curves = planted_curves()
    state, constants = start(curves, MACHINE), watch(curves, MACHINE)
    zeros = DayZeros(*(np.array([value]) for value in (0.01, 0.004, -0.02, 0.005)))
    for i, elapsed in enumerate((1.0, 3.0, 1.0)):
        state = predict(state, constants, np.array([elapsed]))
        state, _ = update(state, constants, planted_day(curves, seed=i, slip=0.05), zeros)
        assert np.array_equal(state.covariance, np.swapaxes(state.covariance, 2, 3))


def test_planted_slip_is_found_and_called_a_belt() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i, slip=0.05) for i in range(20)], curves, MACHINE)
    # The curves have a reference torque of their own, a little off the planted one.
    nearer = curves.reference_torque / PLANT.reference_torque[0]
    steepness = planted_theta()[0, INDEX[Parameter.SLIP_STEEPNESS]]
    planted, _ = slip_above_creep(nearer, np.array(0.05), steepness)
    assert _mean(state, constants, Parameter.SLIP) == pytest.approx(float(planted), abs=0.004)
    weight = held_weights(state, constants.beliefs)[0]
    assert weight[IS_ACTIVE[:, SLIP]].sum() > 0.95


def test_a_healthy_fan_stays_healthy() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i) for i in range(40)], curves, MACHINE)
    assert abs(_mean(state, constants, Parameter.SLIP)) < 0.002
    assert held_weights(state, constants.beliefs)[0, 0] > 0.8


def test_planted_drag_is_no_slip() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i, drag=0.06) for i in range(20)], curves, MACHINE)
    assert _mean(state, constants, Parameter.DRAG) == pytest.approx(0.06, abs=0.012)
    assert abs(_mean(state, constants, Parameter.SLIP)) < 0.003


def test_a_drive_that_cannot_slip_has_none() -> None:
    direct = replace(MACHINE, drive=Drive.DIRECT)
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i, slip=0.05) for i in range(5)], curves, direct)
    assert abs(_mean(state, constants, Parameter.SLIP)) < 1e-4


def test_after_retensioning_slip_starts_near_nothing_and_stays_away() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i, slip=0.05) for i in range(15)], curves, MACHINE)
    state = after_service(state, constants, Work.RETENSIONED)
    for i in range(6):
        state = predict(state, constants, np.array([1.0]))
        state, _ = update(state, constants, planted_day(curves, seed=100 + i), NOTHING)
    assert abs(_mean(state, constants, Parameter.SLIP)) < 0.003


def test_slip_that_comes_back_after_retensioning_is_seen() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=i, slip=0.05) for i in range(15)], curves, MACHINE)
    state = after_service(state, constants, Work.RETENSIONED)
    for i in range(6):
        state = predict(state, constants, np.array([1.0]))
        state, _ = update(state, constants, planted_day(curves, seed=100 + i, slip=0.05), NOTHING)
    assert _mean(state, constants, Parameter.SLIP) == pytest.approx(0.05, abs=0.01)


def _odds(state: State, cause: Parameter) -> float:
    """How likely a cause alone is, over the belt alone."""
    is_alone = IS_ACTIVE.sum(axis=1) == 1
    weight = state.weight[0]
    mine = weight[is_alone & IS_ACTIVE[:, CAUSES.index(cause)]].sum()
    return float(mine / weight[is_alone & IS_ACTIVE[:, SLIP]].sum())


def test_a_cause_does_not_explain_a_step_better_for_having_shown_nothing_longer() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=1)], curves, MACHINE)
    longer = state.log_weight.copy()
    alone = (IS_ACTIVE.sum(axis=1) == 1) & IS_ACTIVE[:, CAUSES.index(Parameter.SPEED_SCALE)]
    longer[:, alone] += np.log(10.0)
    after = []
    for weight in (state.log_weight, longer - np.log(np.exp(longer).sum())):
        told = predict(replace(state, log_weight=weight), constants, np.array([1.0]))
        told, _ = update(told, constants, planted_day(curves, seed=2, speed_scale=-0.05), NOTHING)
        after.append(_odds(told, Parameter.SPEED_SCALE))
    assert after[1] < 2.0 * after[0]


def test_a_zero_read_at_rest_every_night_does_not_explain_the_days_between() -> None:
    curves = planted_curves()
    state, constants = start(curves, MACHINE), watch(curves, MACHINE)
    at_rest = DayZeros(*(np.array([value]) for value in (0.0, 0.003, np.nan, np.nan)))
    alone = (IS_ACTIVE.sum(axis=1) == 1) & IS_ACTIVE[:, CAUSES.index(Parameter.PRESSURE_ZERO)]
    for i in range(12):
        # A damper that swings from day to day: no explanation holds for two days.
        hours = planted_day(curves, seed=i, pressure_zero=0.1 * (-1.0) ** i)
        state = predict(state, constants, np.array([1.0]))
        state, _ = update(state, constants, hours, at_rest)
        assert np.abs(state.mean[0, alone, CAUSES.index(Parameter.PRESSURE_ZERO)]).max() < 0.05


def test_a_day_without_hours_changes_nothing_but_what_time_does() -> None:
    curves = planted_curves()
    state, constants = _run([planted_day(curves, seed=1)], curves, MACHINE)
    hours = planted_day(curves, seed=2)
    empty = replace(hours, is_used=np.zeros_like(hours.is_used))
    after, _ = update(state, constants, empty, NOTHING)
    assert after.mean == pytest.approx(state.mean, abs=1e-12)
    assert after.covariance == pytest.approx(state.covariance, abs=1e-12)
