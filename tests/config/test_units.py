"""The unit table against a general unit library, its own sources, and the meaning of a speed in percent."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.vocabulary import Role
from config.units import (
    AIRFLOW,
    BAROMETRIC_PRESSURE,
    HORSEPOWER_W,
    INCH_OF_MERCURY_PA,
    INCH_OF_WATER_PA,
    POWER,
    PRESSURE,
    ROLE_UNITS,
    TEMPERATURE,
    barometric_to_si,
    temperature_to_si,
    to_si,
)

ureg: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)

# The library reads cfm as a cubic femtometre and has no inwg; its inch_H2O is the conventional one.
IN_PINT = {
    "kW": "kW",
    "W": "W",
    "hp": "horsepower",
    "cfm": "ft^3/min",
    "m3/s": "m^3/s",
    "m3/h": "m^3/h",
    "L/s": "L/s",
    "inwg": "inch_H2O",
    "Pa": "Pa",
    "kPa": "kPa",
    "hPa": "hPa",
    "inHg": "inch_Hg",
    "psi": "psi",
    "degF": "degF",
    "degC": "degC",
}
SI = {"power": "W", "airflow": "m^3/s", "pressure": "Pa", "temperature": "degC"}
numbers = st.floats(-1e6, 1e6, allow_nan=False)


@pytest.mark.parametrize(
    ("quantity", "unit", "role"),
    [
        *(("power", unit, Role.POWER) for unit in POWER),
        *(("airflow", unit, Role.AIRFLOW) for unit in AIRFLOW),
        *(("pressure", unit, Role.PRESSURE) for unit in PRESSURE),
        *(("temperature", unit, Role.AIR_TEMPERATURE) for unit in TEMPERATURE),
    ],
)
def test_every_factor_is_the_general_librarys(quantity: str, unit: str, role: Role) -> None:
    written = np.array([-40.0, 0.0, 1.0, 3.7, 12345.678])
    expected = ureg.Quantity(written, IN_PINT[unit]).to(SI[quantity]).magnitude
    np.testing.assert_allclose(to_si(role, unit, written), expected, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("unit", BAROMETRIC_PRESSURE)
def test_every_barometric_factor_is_the_general_librarys(unit: str) -> None:
    expected = ureg.Quantity(1.0, IN_PINT[unit]).to("Pa").magnitude
    assert barometric_to_si(unit, [1.0])[0] == pytest.approx(expected, rel=1e-12)


def test_the_factors_are_those_of_nist_sp_811() -> None:
    # NIST SP 811 (2008), appendix B.8, seven digits each: inch of water (conventional), inch of mercury
    # (conventional), horsepower (550 ft lbf/s), cubic foot per minute, psi.
    assert pytest.approx(2.490889e2, rel=2e-7) == INCH_OF_WATER_PA
    assert pytest.approx(3.386389e3, rel=2e-7) == INCH_OF_MERCURY_PA
    assert pytest.approx(7.456999e2, rel=2e-7) == HORSEPOWER_W
    assert AIRFLOW["cfm"].scale == pytest.approx(4.719474e-4, rel=2e-7)
    assert BAROMETRIC_PRESSURE["psi"].scale == pytest.approx(6.894757e3, rel=2e-7)


@given(celsius=numbers)
def test_the_same_temperature_in_either_unit_is_the_same(celsius: float) -> None:
    fahrenheit = celsius * 9.0 / 5.0 + 32.0
    assert temperature_to_si("degF", [fahrenheit])[0] == pytest.approx(celsius, rel=1e-12, abs=1e-9)


@given(hz=st.floats(0.0, 120.0), max_hz=st.floats(30.0, 120.0), zero_hz=st.floats(0.0, 20.0))
def test_a_speed_is_the_same_in_every_unit(hz: float, max_hz: float, zero_hz: float) -> None:
    scale = {"motor_hz": 60.0, "max_hz": max_hz, "zero_hz": zero_hz, "sync_rpm": 1800.0}
    share = (hz - zero_hz) / (max_hz - zero_hz)
    expected = pytest.approx(hz / 60.0, rel=1e-9, abs=1e-12)
    assert to_si(Role.SPEED, "Hz", [hz], **scale)[0] == expected
    assert to_si(Role.SPEED, "fraction", [share], **scale)[0] == expected
    assert to_si(Role.SPEED, "percent", [100.0 * share], **scale)[0] == expected
    assert to_si(Role.SPEED, "rpm", [1800.0 * hz / 60.0], **scale)[0] == expected


def test_full_command_without_a_top_frequency_is_the_motors_own() -> None:
    assert to_si(Role.SPEED, "percent", [0.0, 50.0, 100.0], motor_hz=50.0).tolist() == [0.0, 0.5, 1.0]


def test_a_current_in_percent_is_of_its_full_scale() -> None:
    assert to_si(Role.CURRENT, "percent", [0.0, 50.0, 110.0], full_scale=40.0).tolist() == [0.0, 20.0, 44.0]


def test_what_a_unit_needs_is_asked_for_by_name() -> None:
    with pytest.raises(ValueError, match="full_scale"):
        to_si(Role.CURRENT, "percent", [1.0])
    with pytest.raises(ValueError, match="motor_hz"):
        to_si(Role.SPEED, "percent", [1.0])
    with pytest.raises(ValueError, match="sync_rpm"):
        to_si(Role.SPEED, "rpm", [1.0])


def test_an_unknown_unit_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="cfm, m3/s, m3/h, L/s"):
        to_si(Role.AIRFLOW, "cubits", [1.0])
    with pytest.raises(ValueError, match="percent, fraction, Hz, rpm"):
        to_si(Role.SPEED, "knots", [1.0], motor_hz=60.0)


@pytest.mark.parametrize("role", [role for role in Role if role not in (Role.SPEED, Role.CURRENT)])
def test_every_unit_a_role_may_have_converts_and_keeps_gaps(role: Role) -> None:
    for unit in ROLE_UNITS[role]:
        converted = to_si(role, unit, [1.0, np.nan])
        assert np.isfinite(converted[0])
        assert np.isnan(converted[1])


def test_conversion_leaves_what_it_was_given_alone() -> None:
    written = np.array([1.0, 2.0])
    for role in (Role.AIRFLOW, Role.PRESSURE, Role.CURRENT):
        to_si(role, ROLE_UNITS[role][0], written)[:] = 0.0 if role is not Role.CURRENT else written
    assert written.tolist() == [1.0, 2.0]


@pytest.mark.parametrize("unit", BAROMETRIC_PRESSURE)
@given(pascals=st.floats(60_001.0, 108_999.0))
def test_an_atmosphere_tells_its_own_unit(unit: str, pascals: float) -> None:
    written = pascals / BAROMETRIC_PRESSURE[unit].scale
    assert barometric_to_si("by_size", [written])[0] == pytest.approx(pascals, rel=1e-12)


def test_what_is_no_atmosphere_in_any_unit_is_kept_as_written() -> None:
    assert barometric_to_si("by_size", [0.0, 5.0, 2000.0]).tolist() == [0.0, 5.0, 2000.0]
