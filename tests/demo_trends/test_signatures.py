"""Each planted cause moves pressure and torque as the table of physics section 5 says, and nothing else does.

Residuals are logs against the healthy curves G and F at the flow over speed that the readings give. The table
is first order, -(2 - m) s; here its exact form of section 4 is held: y = k^2 G(x/k), T = k^2 F(x/k).
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from demo_trends.faults import Fault
from demo_trends.plan import FanPlan
from demo_trends.simulator import Trends

STEP = 12.0


@dataclass(frozen=True)
class Residuals:
    pressure: np.ndarray
    torque: np.ndarray
    slip: np.ndarray
    phi: np.ndarray
    fan_pa: np.ndarray
    load: np.ndarray


def residuals(trends: Trends, *, speed_scale: float = 1.0) -> Residuals:
    """What an analyst with perfect sensors sees after the step; the healthy drive here creeps by nothing."""
    plan = trends.plan
    begun = np.asarray(trends.truth["is_running"]) & (np.arange(len(trends.truth)) > (STEP + 0.5) * 48)
    truth, readings = trends.truth[begun], trends.readings[begun]
    said = readings["speed_fraction"].to_numpy()
    motor_rpm = truth["motor_rpm"].to_numpy() - plan.motor.sync_rpm * said * (speed_scale - 1.0)
    wheel_rpm = motor_rpm * plan.ratio
    density = truth["density_kg_m3"].to_numpy()
    speed_squared = (wheel_rpm / plan.wheel.design_rpm) ** 2 * density / 1.2
    phi = (
        readings["airflow_m3s"].to_numpy()
        / plan.wheel.design_airflow_m3s
        / (wheel_rpm / plan.wheel.design_rpm)
    )
    psi = np.interp(phi, plan.wheel.phi, plan.wheel.psi)
    expected_pa = psi * plan.wheel.design_pressure_pa * speed_squared
    design_nm = plan.wheel.design_shaft_w / (plan.wheel.design_rpm * np.pi / 30) * plan.ratio
    lam = np.interp(phi, plan.wheel.phi, plan.wheel.lam)
    standing = plan.bearing_fraction * plan.motor.rated_nm
    torque = truth["motor_torque"].to_numpy() * plan.motor.rated_nm - standing
    return Residuals(
        np.log(readings["pressure_pa"].to_numpy() / expected_pa),
        np.log(torque / (lam * design_nm * speed_squared)),
        truth["slip"].to_numpy(),
        phi,
        truth["fan_pressure_pa"].to_numpy(),
        truth["motor_torque"].to_numpy(),
    )


def moved(plan: FanPlan, curve: str, phi: np.ndarray, factor: np.ndarray | float) -> np.ndarray:
    """ln of the curve at x/factor over the curve at x."""
    values = getattr(plan.wheel, curve)
    return np.log(np.interp(phi / factor, plan.wheel.phi, values) / np.interp(phi, plan.wheel.phi, values))


def slope(plan: FanPlan, curve: str, phi: np.ndarray) -> np.ndarray:
    """dln(curve)/dln(x) by a central difference."""
    return (moved(plan, curve, phi, 0.99) - moved(plan, curve, phi, 1.01)) / np.log(1.01 / 0.99)


@pytest.fixture(scope="module", name="plan")
def creepless_plan(quiet_plan) -> FanPlan:
    plan = quiet_plan("flow")
    law = replace(plan.belt.law, creep=1e-9)
    duct = replace(plan.duct, held_share=0.35)
    return replace(plan, belt=replace(plan.belt, law=law, flexing=0.0), duct=duct)


def test_a_healthy_fan_has_no_residual(plan, run):
    seen = residuals(run(plan))
    assert np.abs(seen.pressure).max() < 2e-3
    assert np.abs(seen.torque).max() < 2e-3
    assert np.ptp(seen.phi) > 0.08


@pytest.mark.parametrize("size", [0.01, 0.03, 0.06])
def test_belt_slip_grows_with_torque(plan, run, size):
    seen = residuals(run(plan, Fault("slip", STEP, size, "step")))
    kept = 1 - seen.slip
    exact_y = 2 * np.log(kept) + moved(plan, "psi", seen.phi, kept)
    exact_t = 2 * np.log(kept) + moved(plan, "lam", seen.phi, kept)
    np.testing.assert_allclose(seen.pressure, exact_y, atol=2e-3)
    np.testing.assert_allclose(seen.torque, exact_t, atol=2e-3)
    assert np.corrcoef(seen.load, seen.pressure)[0, 1] < -0.8
    small = seen.slip < 0.02
    first_order = -(2 - slope(plan, "psi", seen.phi)) * seen.slip
    np.testing.assert_allclose(seen.pressure[small], first_order[small], atol=2e-3)


def test_drag_moves_torque_alone_and_most_at_light_load(plan, run):
    seen = residuals(run(plan, Fault("drag", STEP, 0.05, "step")))
    assert np.abs(seen.pressure).max() < 2e-3
    aerodynamic = seen.load - plan.bearing_fraction - 0.05
    np.testing.assert_allclose(seen.torque, np.log1p(0.05 / aerodynamic), rtol=0.01, atol=2e-3)
    assert np.corrcoef(seen.load, seen.torque)[0, 1] < -0.9


@pytest.mark.parametrize("change", [-0.05, 0.05])
def test_a_changed_ratio_moves_both_alike_at_all_torques(plan, run, change):
    seen = residuals(run(plan, Fault("ratio", STEP, change, "step")))
    k = 1 + change
    np.testing.assert_allclose(seen.pressure, 2 * np.log(k) + moved(plan, "psi", seen.phi, k), atol=2e-3)
    np.testing.assert_allclose(seen.torque, 3 * np.log(k) + moved(plan, "lam", seen.phi, k), atol=2e-3)


def test_a_fouled_wheel_loses_pressure_and_less_power(plan, run):
    seen = residuals(run(plan, Fault("wheel", STEP, 0.08, "step")))
    np.testing.assert_allclose(seen.pressure, np.log1p(-0.08), atol=3e-3)
    assert np.all((seen.torque < -0.04 + 3e-3) & (seen.torque > -0.08 - 3e-3))


@pytest.mark.parametrize("gain", [-0.1, 0.1])
def test_an_airflow_gain_follows_the_slopes(plan, run, gain):
    seen = residuals(run(plan, Fault("airflow_gain", STEP, gain, "step")))
    b = 1 + gain
    np.testing.assert_allclose(seen.pressure, moved(plan, "psi", seen.phi, b), atol=2e-3)
    np.testing.assert_allclose(seen.torque, moved(plan, "lam", seen.phi, b), atol=2e-3)
    first_order = -slope(plan, "lam", seen.phi) * np.log(b)
    np.testing.assert_allclose(seen.torque, first_order, atol=0.02)


def test_an_airflow_zero_is_largest_at_low_flow(plan, run):
    zero = 0.2
    seen = residuals(run(plan, Fault("airflow_zero", STEP, zero, "step")))
    trends = run(plan, Fault("airflow_zero", STEP, zero, "step"))
    on = trends.truth["is_running"].to_numpy()
    ratio = (trends.readings["airflow_m3s"] / trends.truth["airflow_m3s"]).to_numpy()[on][-len(seen.phi) :]
    true = trends.truth["airflow_m3s"].to_numpy()[on][-len(seen.phi) :]
    extra = (zero * plan.wheel.design_airflow_m3s) ** 2 / true**2
    np.testing.assert_allclose(ratio**2, 1 + extra, rtol=1e-6)
    np.testing.assert_allclose(seen.torque, moved(plan, "lam", seen.phi, ratio), atol=2e-3)


def test_a_pressure_gain_is_flat_and_a_zero_largest_at_low_pressure(plan, run):
    gained = residuals(run(plan, Fault("pressure_gain", STEP, 0.08, "step")))
    np.testing.assert_allclose(gained.pressure, np.log(1.08), atol=2e-3)
    assert np.abs(gained.torque).max() < 2e-3
    zeroed = residuals(run(plan, Fault("pressure_zero", STEP, -0.06, "step")))
    zero_pa = -0.06 * plan.wheel.design_pressure_pa
    np.testing.assert_allclose(zeroed.pressure, np.log1p(zero_pa / zeroed.fan_pa), atol=2e-3)
    assert np.corrcoef(zeroed.fan_pa, zeroed.pressure)[0, 1] > 0.9


def test_a_pressure_zero_shows_with_the_fan_stopped(plan, run):
    office = replace(plan, use="office")
    trends = run(office, Fault("pressure_zero", STEP, 0.05, "step"))
    stopped = trends.readings[~trends.truth["is_running"]]["pressure_pa"]
    assert stopped.iloc[:20].abs().max() < 1e-6
    assert stopped.iloc[-1] == pytest.approx(0.05 * plan.wheel.design_pressure_pa)


@pytest.mark.parametrize(("kind", "column"), [("current_gain", "current_a"), ("power_gain", "power_w")])
def test_an_electrical_gain_moves_its_own_reading_alone(plan, run, kind, column):
    sound, wrong = run(plan), run(plan, Fault(kind, STEP, 0.07, "step"))
    on = sound.truth["is_running"].to_numpy() & (np.arange(len(sound.truth)) > (STEP + 0.5) * 48)
    for name in sound.readings:
        ratio = (wrong.readings[name] / sound.readings[name])[on]
        np.testing.assert_allclose(ratio, 1.07 if name == column else 1.0, rtol=1e-6)


@pytest.mark.parametrize("change", [-0.05, 0.06])
def test_a_speed_not_followed_is_slips_own_signature(plan, run, change):
    seen = residuals(run(plan, Fault("speed_scale", STEP, change, "step")), speed_scale=1 + change)
    u = 1 + change
    # Belt and motor see the true frequency; a little motor slip keeps the speed ratio from being u exactly.
    np.testing.assert_allclose(seen.pressure, 2 * np.log(u) + moved(plan, "psi", seen.phi, u), atol=0.01)
    np.testing.assert_allclose(seen.torque, 2 * np.log(u) + moved(plan, "lam", seen.phi, u), atol=0.01)


def test_a_clamp_holds_the_pressure_while_the_command_moves(plan, run):
    sound = run(plan)
    clamp = float(np.quantile(sound.readings["speed_fraction"][sound.truth["is_running"]], 0.3))
    held = run(plan, Fault("speed_clamp", STEP, clamp, "step"))
    late = held.readings.iloc[int((STEP + 0.5) * 48) :]
    wound_up = late["speed_fraction"] >= plan.control.max_fraction - 1e-6
    assert wound_up.sum() > 80
    assert late.loc[wound_up, "pressure_pa"].std() / late.loc[wound_up, "pressure_pa"].mean() < 0.1
    assert held.truth["motor_rpm"].iloc[-200:].max() < clamp * plan.motor.sync_rpm


@pytest.mark.parametrize(
    ("location", "is_seen"), [("duct", True), ("fan_outlet", True), ("across_fan", False)]
)
def test_a_loading_filter_shows_beside_the_fan_and_not_across_it(plan, run, location, is_seen):
    placed = replace(plan, pressure_location=location)
    sound, loaded = run(placed), run(placed, Fault("path", STEP, 0.15, "step"))
    on = sound.truth["is_running"].to_numpy() & (np.arange(len(sound.truth)) > (STEP + 0.5) * 48)
    truth, seen = loaded.truth[on], residuals(loaded)
    assert np.abs(seen.torque).max() < 2e-3, "power at the same x is unmoved"
    if not is_seen:
        assert np.abs(seen.pressure).max() < 2e-3
        return
    design = placed.wheel.design_pressure_pa / placed.wheel.design_airflow_m3s**2
    shares = placed.duct.near_share + (placed.duct.path_share if location == "duct" else 0.0)
    density = truth["density_kg_m3"] / 1.2
    clean_pa = truth["fan_pressure_pa"] - shares * design * density * truth["airflow_m3s"] ** 2
    lost_pa = 0.15 * design * density * truth["airflow_m3s"] ** 2
    np.testing.assert_allclose(loaded.readings["pressure_pa"][on], clean_pa - lost_pa, rtol=1e-5)


def test_a_swinging_damper_comes_and_goes_within_hours(plan, run):
    placed = replace(plan, pressure_location="fan_outlet")
    sound, swinging = residuals(run(placed)), residuals(run(placed, Fault("damper", STEP, 0.12, "step")))
    fallen = swinging.pressure - sound.pressure
    assert fallen.max() < 5e-3
    assert fallen.min() < -0.05
    assert np.corrcoef(fallen[:-12], fallen[12:])[0, 1] < 0.5  # six hours on, it has mostly forgotten
    assert np.abs(swinging.torque).max() < 2e-3, "power at the same x is unmoved"


@pytest.mark.parametrize(
    ("duty", "location", "sign"),
    [("exhaust", "fan_inlet", -1), ("return", "duct", -1), ("supply", "duct", 1)],
)
def test_pulling_fans_read_negative_pressure(quiet_plan, run, duty, location, sign):
    trends = run(quiet_plan("flow", duty=duty, pressure_location=location))
    on = trends.truth["is_running"]
    assert np.all(np.sign(trends.readings.loc[on, "pressure_pa"]) == sign)
