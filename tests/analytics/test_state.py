"""The daily step: a linear case against statsmodels, fans alone and in a batch, service, one-sided causes."""

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from analytics.between_days import predict
from analytics.curves import HealthyCurves
from analytics.day_misfit import open_deviations
from analytics.explanations import IS_ACTIVE
from analytics.machine import Machine
from analytics.mixtures import held_weights
from analytics.model import CAUSES, INDEX, Operating, Parameter
from analytics.service_effects import after_service
from analytics.slip_law import slip_above_creep
from analytics.state import (
    DayReading,
    DayZeros,
    State,
    _learn,
    select,
    stack_states,
    start,
    update,
)
from analytics.vocabulary import Drive, Work
from analytics.watch import CARRIED, WIDTH, Watch, stack_watches, watch
from tests.analytics.planted import MACHINE, PLANT, planted_curves, planted_day, planted_theta

NOTHING = DayZeros(*np.full((4, 1), np.nan))
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
    # The last look takes what it learned off the covariance that it was given.
    state = replace(state, covariance=covariance.copy())
    design = rng.normal(size=(6, WIDTH))
    design[:, first_curve:] = 0.0
    noise = np.diag(rng.uniform(0.5, 2.0, 6)) * 1e-3
    seen = 0.01 * rng.normal(size=6)
    at = state.mean[:, 0]
    reading = DayReading(
        at,
        (design.T @ np.linalg.solve(noise, design))[None],
        (design.T @ np.linalg.solve(noise, seen))[None],
        np.zeros((1, 2, WIDTH)),
        np.zeros((1, 2)),
        *(np.ones((1, 1)) for _ in range(3)),
    )
    is_held = np.zeros((1, len(CAUSES)), dtype=bool)
    after = _learn(state, watch(curves, MACHINE), reading, open_deviations(covariance), is_held, is_last=True)
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
