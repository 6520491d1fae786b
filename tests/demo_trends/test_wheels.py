"""Wheels: shapes of each type, fan laws, and curves that are not the estimator's."""

import csv
from pathlib import Path

import numpy as np
import pytest

from demo_trends.wheels import FAMILIES, FAN_TYPES, Wheel, draw_wheel

OFFICE_FAN = Path(__file__).parents[1] / "analytics" / "data" / "office_supply_fan_curve.csv"


def a_wheel(
    fan_type: str = "airfoil", family: str = "spline", seed: int = 1, variation: float = 1.0
) -> Wheel:
    rng = np.random.default_rng(seed)
    return draw_wheel(rng, fan_type, 5.0, 900.0, 1000.0, family=family, variation=variation)


def test_the_typical_airfoil_wheel_has_the_shape_of_a_published_office_fan() -> None:
    """Englander and Norford, ASHRAE 1992, 50 hp airfoil supply fan, digitised; design taken at 25.6 m3/s."""
    with OFFICE_FAN.open() as lines:
        rows = np.array([[float(cell) for cell in row.values()] for row in csv.DictReader(lines)])
    flow, pressure, power = rows.T
    phi, psi, lam = flow / 25.6363, pressure / 1128.12, power / 39149.3
    is_working = (phi > 0.3) & (phi < 1.3)
    wheel = a_wheel(variation=0.0)
    np.testing.assert_allclose(np.interp(phi, wheel.phi, wheel.psi)[is_working], psi[is_working], atol=0.05)
    np.testing.assert_allclose(np.interp(phi, wheel.phi, wheel.lam)[is_working], lam[is_working], atol=0.08)


@pytest.mark.parametrize("fan_type", FAN_TYPES)
@pytest.mark.parametrize("family", FAMILIES)
def test_pressure_and_power_follow_the_fan_laws(fan_type: str, family: str) -> None:
    """Q ~ N, p ~ N^2 rho, P ~ N^3 rho, as in any fan handbook, from 1200 to 1500 rpm."""
    wheel = a_wheel(fan_type, family)
    flow, rpm = np.array([4.5, 4.5 * 1.25]), np.array([1200.0, 1500.0])
    density = np.array([1.0, 1.0])
    low, high = wheel.pressure_pa(flow, rpm, density)
    assert high / low == pytest.approx(3.125 / 2.0, rel=1e-9)
    phi = flow / wheel.design_airflow_m3s / (rpm / wheel.design_rpm)
    power = wheel.torque_nm(phi, rpm, density) * rpm
    assert power[1] / power[0] == pytest.approx(9.7656 / 5, rel=1e-4)
    assert wheel.pressure_pa(flow, rpm, 0.9 * density)[0] == pytest.approx(0.9 * low)


@pytest.mark.parametrize("fan_type", FAN_TYPES)
@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("seed", range(5))
def test_every_wheel_meets_every_system_once_and_wastes_some_power(
    fan_type: str, family: str, seed: int
) -> None:
    wheel = a_wheel(fan_type, family, seed)
    assert np.all(np.diff(np.log(wheel.psi / wheel.phi**2)) < 0)
    is_working = (wheel.phi > 0.4) & (wheel.phi < 1.3)
    efficiency = wheel.phi * wheel.psi / wheel.lam * 5.0 * 900.0 / wheel.design_shaft_w
    assert np.all(efficiency[is_working] < 0.93)
    assert np.all(efficiency[is_working] > 0.2)


def test_the_crossing_with_a_system_curve_lies_on_both() -> None:
    wheel = a_wheel("mixed_flow", "rational")
    density = np.full(20, 1.05)
    resistance = np.geomspace(15.0, 120.0, 20)
    phi = wheel.phi_on(resistance, density)
    flow = phi * wheel.design_airflow_m3s * 0.8
    pressure = wheel.pressure_pa(flow, np.full(20, 0.8 * wheel.design_rpm), density)
    np.testing.assert_allclose(pressure, resistance * flow**2, rtol=2e-4)


@pytest.mark.parametrize(
    ("fan_type", "is_rising"), [("forward_curved", True), ("radial", True), ("axial", False)]
)
def test_power_climbs_or_falls_with_flow_as_the_blading_says(fan_type: str, is_rising: bool) -> None:
    """Forward-curved and radial wheels overload at free delivery, axial ones at shut-off: textbook."""
    wheel = a_wheel(fan_type, variation=0.0)
    climb = np.interp(1.3, wheel.phi, wheel.lam) - np.interp(0.7, wheel.phi, wheel.lam)
    assert (climb > 0.15) if is_rising else (climb < -0.05)


def test_no_family_is_a_log_quadratic() -> None:
    """Over the range a variable-volume fan runs in, a fitted log-quadratic leaves a visible remainder."""
    for family in FAMILIES:
        for curve in ("psi", "lam"):
            worst = 0.0
            for fan_type in FAN_TYPES:
                wheel = a_wheel(fan_type, family)
                part = (wheel.phi > 0.35) & (wheel.phi < 1.35)
                x, y = np.log(wheel.phi[part]), np.log(getattr(wheel, curve)[part])
                worst = max(worst, float(np.std(y - np.polyval(np.polyfit(x, y, 2), x))))
            assert worst > 0.003, (family, curve)
