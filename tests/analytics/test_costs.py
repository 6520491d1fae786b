"""What a state costs a year: against the published belt example, the fan laws and sums by hand."""

import numpy as np
import pytest

from analytics.costs import DriveState, drive_cost, exchange_saving, motor_power_after
from analytics.fan_laws import slip_signature
from analytics.load_profile import BINS, LOADS, LoadProfile, is_at_limit, load_profile, season_error
from analytics.motor import current_from_torque_fraction, line_power_from_shaft_power
from analytics.transmission import healthy_drive_loss
from analytics.vocabulary import Drive, SpeedControl


def profile_of(
    hours: dict[int, float], kw: float = 10.0, price: float = 0.10, **changed: object
) -> LoadProfile:
    full = np.zeros(BINS)
    for place, number in hours.items():
        full[place] = number
    ones = np.ones(BINS)
    values: dict[str, object] = {
        "hours": full,
        "motor_kw": kw * ones,
        "load_ratio": ones,
        "drawn_kw": 1.1 * kw * ones,
        "line_kw": 1.1 * ones,
        "price": price * ones,
        "airflow_m3s": 4.0 * ones,
        "loss": 0.05 * ones,
        "loss_low": 0.03 * ones,
        "loss_high": 0.08 * ones,
        "loss_cogged": 0.03 * ones,
        "loss_synchronous": 0.02 * ones,
        "season_error": np.array(0.0),
    }
    return LoadProfile(**(values | changed))  # type: ignore[arg-type]


def state_of(slip: float, drag: float = 0.0, away: float = 0.0) -> DriveState:
    slips = np.array([slip, slip - away, slip + away])
    return DriveState(slips[:, None] * np.ones(BINS), np.array([drag, drag, drag]))


def test_the_tip_sheets_example_comes_out() -> None:
    """527 000 kWh a year, 93 % V-belt to 98 % synchronous: 26 888 kWh, 2151 USD at 0.08 and 1344 at 0.05.

    US Department of Energy, Motor Systems Tip Sheet 5. Its 93 and 98 % were read there; the example's own
    numbers are from memory, the arithmetic is what is held.
    """
    saved = float(exchange_saving(527_000.0, 0.93, 0.98))
    assert saved == pytest.approx(26_888.0, abs=1.0)
    assert saved * 0.08 == pytest.approx(2151.0, abs=1.0)
    assert saved * 0.05 == pytest.approx(1344.0, abs=1.0)
    # The example's 527 000 kWh are 100 hp at 75 % load all year, with a motor of 93 %.
    assert pytest.approx(527_000.0, rel=1e-3) == 100.0 * 0.75 * 0.7457 * 8760.0 / 0.93


def test_under_control_slip_costs_what_the_raised_command_takes() -> None:
    """10 kW over 1000 h at 5 % slip, 1.1 kW of line a kW of shaft: 10 x 1000 x 1.1 (1 / 0.95 - 1)."""
    cost = drive_cost(profile_of({LOADS - 1: 1000.0}), state_of(0.05))
    assert cost.slip_kwh.centre == pytest.approx(11_000.0 / 0.95 - 11_000.0)
    assert cost.money.centre == pytest.approx(0.10 * (11_000.0 / 0.95 - 11_000.0))
    held = slip_signature(0.05, is_airflow_held=True)
    assert 1.0 + cost.slip_kwh.centre / 11_000.0 == pytest.approx(float(held.motor_power))
    assert cost.air_lost_pct.centre == 0.0
    assert cost.limited_hours == 0.0


def test_at_the_limit_slip_costs_air_and_the_meter_falls() -> None:
    cost = drive_cost(profile_of({BINS - 1: 1000.0}), state_of(0.10))
    free = slip_signature(0.10)
    assert cost.slip_kwh.centre == 0.0
    assert cost.money.centre == 0.0
    assert cost.air_lost_pct.centre == pytest.approx(100.0 * (1.0 - float(free.airflow)))
    assert cost.air_lost_m3s == pytest.approx(0.4)
    assert cost.meter_falls_kwh == pytest.approx(11_000.0 * (1.0 - float(free.motor_power)))
    assert cost.limited_hours == 1000.0


def test_drag_costs_energy_at_the_limit_too() -> None:
    cost = drive_cost(profile_of({0: 500.0, BINS - 1: 500.0}), state_of(0.0, drag=0.04))
    assert cost.drag_kwh.centre == pytest.approx(0.04 * 11_000.0)


def test_a_demand_charge_is_on_the_heaviest_load_under_control() -> None:
    kw = np.linspace(1.0, BINS, BINS)
    profile = profile_of({0: 100.0, 2: 100.0, BINS - 1: 100.0}, motor_kw=kw)
    without = drive_cost(profile, state_of(0.10)).money.centre
    cost = drive_cost(profile, state_of(0.10), demand_per_kw_month=15.0).money.centre
    assert cost - without == pytest.approx(12.0 * 15.0 * 1.1 * 3.0 * (1.0 / 0.9 - 1.0))


def test_an_interval_is_carried_and_a_year_half_seen_widens_it() -> None:
    sure = drive_cost(profile_of({0: 1000.0}), state_of(0.05, away=0.01)).slip_kwh
    assert sure.low == pytest.approx(11_000.0 * (1.0 / 0.96 - 1.0))
    assert sure.high == pytest.approx(11_000.0 * (1.0 / 0.94 - 1.0))
    half = profile_of({0: 1000.0}, season_error=np.array(0.2))
    unsure = drive_cost(half, state_of(0.05, away=0.01)).slip_kwh
    assert unsure.centre == sure.centre
    below = np.hypot(sure.centre - sure.low, 1.96 * 0.2 * sure.centre)
    assert unsure.low == pytest.approx(sure.centre - below)


def test_what_a_healthy_drive_loses_stands_apart() -> None:
    cost = drive_cost(profile_of({0: 1000.0}), state_of(0.0))
    assert cost.energy_kwh.centre == 0.0
    assert cost.healthy_kwh.centre == pytest.approx(550.0)
    assert (cost.healthy_kwh.low, cost.healthy_kwh.high) == pytest.approx((330.0, 880.0))


def test_another_drive_saves_what_the_tip_sheets_formula_says() -> None:
    cost = drive_cost(profile_of({0: 1000.0}), state_of(0.0))
    assert cost.synchronous_kwh.centre == pytest.approx(11_000.0 * (1.0 - 0.95 / 0.98))
    assert cost.synchronous_kwh.low == pytest.approx(11_000.0 * (1.0 - 0.97 / 0.98))
    assert cost.direct_kwh.centre == pytest.approx(550.0)
    assert cost.cogged_kwh.high == pytest.approx(11_000.0 * (1.0 - 0.92 / 0.97))


def test_fans_of_a_batch_cost_what_they_cost_alone() -> None:
    one, two = profile_of({0: 1000.0}), profile_of({BINS - 1: 700.0}, kw=3.0)
    both = LoadProfile.stacked([one.as_json(), two.as_json()])
    slip = np.stack([state_of(0.04).slip, state_of(0.08).slip], axis=1)
    cost = drive_cost(both, DriveState(slip, np.full((3, 2), 0.01)))
    alone = drive_cost(two, state_of(0.08, drag=0.01))
    assert cost.drag_kwh.centre[1] == pytest.approx(float(alone.drag_kwh.centre))
    assert cost.air_lost_pct.high[1] == pytest.approx(float(alone.air_lost_pct.high))


def test_restored_tension_draws_more() -> None:
    """After 10 % slip about 17 % more amps at one command: 14.8 % less at 70 % load, by the affinity laws."""
    assert float(motor_power_after(0.10)) == pytest.approx(1.0 / 0.81)
    tight = float(current_from_torque_fraction(0.70, 1.0, 0.335))
    slipping = float(current_from_torque_fraction(0.70 / float(motor_power_after(0.10)), 1.0, 0.335))
    assert slipping / tight - 1.0 == pytest.approx(-0.148, abs=0.0005)
    assert tight / slipping == pytest.approx(1.17, abs=0.005)


def year_of(
    motor_kw: list[float],
    load_ratio: list[float],
    speed_fraction: list[float],
    airflow_m3s: list[float],
    is_limited: list[bool],
) -> LoadProfile:
    """The usual year of a fan of 10 hp with a frequency drive that runs 4,000 hours like these."""
    return load_profile(
        np.array(motor_kw),
        np.array(load_ratio),
        np.full(len(motor_kw), 0.1),
        np.array(airflow_m3s),
        speed_fraction=np.array(speed_fraction),
        is_limited=np.array(is_limited),
        hours_a_year=4000.0,
        season_error=0.0,
        rated_power_w=7457.0,
        reference_torque=0.8,
        drive=Drive.V_BELT,
        has_vfd=True,
        motor_efficiency=None,
    )


def test_hours_are_sorted_by_load_and_by_control() -> None:
    profile = year_of(
        [2.0, 4.0, 6.0, 8.0],
        [0.2, 0.5, 0.5, 2.0],
        [0.5, 0.7, 1.0, 1.0],
        [1.0, np.nan, 3.0, 3.0],
        [False, False, True, True],
    )
    assert profile.hours.tolist() == [
        1000.0 if place in (0, 2, LOADS + 2, BINS - 1) else 0.0 for place in range(BINS)
    ]
    assert profile.motor_kw[LOADS + 2] == 6.0
    assert np.isnan(profile.airflow_m3s[2])
    assert profile.loss[2] == pytest.approx(float(healthy_drive_loss(0.4, 7457.0, Drive.V_BELT)))
    assert np.all(profile.loss_low[profile.hours > 0] <= profile.loss[profile.hours > 0])
    assert np.all(profile.line_kw[profile.hours > 0] > 1.0)


def test_what_a_fan_draws_is_read_at_the_speed_of_its_hours() -> None:
    slow, full = (float(year_of([1.5], [0.5], [speed], [1.0], [False]).drawn_kw[2]) for speed in (0.6, 1.0))
    assert slow == pytest.approx(float(line_power_from_shaft_power(1500.0, 7457.0, True, None, 0.6)) / 1e3)
    # At the same shaft power the slower motor turns harder, yet idles for less.
    assert 1.5 < slow < full


def test_a_command_at_its_top_or_that_never_moves_cannot_rise() -> None:
    moving = np.array([0.5, 0.7, 0.99])
    assert is_at_limit(moving, 1.0, SpeedControl.VFD).tolist() == [False, False, True]
    assert is_at_limit(moving, 1.0, SpeedControl.CONSTANT).all()
    assert is_at_limit(np.array([0.6, 0.6, 0.601]), 1.0, SpeedControl.VFD).all()


def test_a_whole_year_has_no_season_left_unseen() -> None:
    assert season_error(np.array([1.0, 2.0]), 1.0) == 0.0
    assert season_error(np.array([1.0, 1.0]), 0.75) == pytest.approx(0.05)
