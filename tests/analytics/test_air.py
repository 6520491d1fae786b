"""Air density and standard pressure against another library and published tables."""

import numpy as np
import psychrolib
import pytest

from analytics.air import STANDARD_AIR_DENSITY, actual_airflow, air_density, standard_pressure_pa


@pytest.fixture(autouse=True)
def si_psychrometrics():
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("altitude_m", [-100.0, 0.0, 500.0, 1000.0, 1609.0, 2000.0, 3500.0])
def test_standard_pressure_is_that_of_psychrolib(altitude_m):
    # Both give equation 3 of the ASHRAE Handbook's psychrometrics chapter: equal to rounding.
    expected = psychrolib.GetStandardAtmPressure(altitude_m)
    assert standard_pressure_pa(altitude_m) == pytest.approx(expected, rel=1e-9)


def test_standard_pressure_of_the_us_standard_atmosphere():
    # US Standard Atmosphere 1976, table I, geometric altitude: 1000 m 89 876 Pa, 2000 m 79 501 Pa,
    # 3000 m 70 121 Pa. The handbook's formula takes geopotential for geometric altitude: 0.03 %.
    np.testing.assert_allclose(
        standard_pressure_pa([0.0, 1000.0, 2000.0, 3000.0]), [101_325, 89_876, 79_501, 70_121], rtol=3e-4
    )


@pytest.mark.parametrize("pressure_pa", [70_000.0, 84_000.0, 101_325.0, 103_000.0])
@pytest.mark.parametrize("temperature_c", [-25.0, 0.0, 13.0, 20.0, 40.0])
def test_density_is_that_of_psychrolib_for_dry_air(temperature_c, pressure_pa):
    expected = psychrolib.GetDryAirDensity(temperature_c, pressure_pa)
    assert air_density(temperature_c, pressure_pa) == pytest.approx(expected, rel=1e-6)


def test_density_of_dry_air_at_one_atmosphere():
    # Table of dry air at 1 atm as reprinted in handbooks. Its gas constant is 287.05 or 287.06: 0.01 %.
    np.testing.assert_allclose(
        air_density([0.0, 20.0, 25.0, 35.0, 40.0], 101_325.0),
        [1.2922, 1.2041, 1.1839, 1.1455, 1.1273],
        rtol=1.2e-4,
    )


@pytest.mark.parametrize(("temperature_c", "humidity", "lighter"), [(20.0, 0.5, 0.0045), (35.0, 0.4, 0.0085)])
def test_moisture_left_out_costs_what_the_docstring_says(temperature_c, humidity, lighter):
    ratio = psychrolib.GetHumRatioFromRelHum(temperature_c, humidity, 101_325.0)
    moist = psychrolib.GetMoistAirDensity(temperature_c, ratio, 101_325.0)
    too_heavy = air_density(temperature_c, 101_325.0) / moist - 1.0
    assert 0.0 < too_heavy <= lighter


@pytest.mark.parametrize(
    ("altitude_ft", "factors"),
    [
        (0, (1.000, 0.946, 0.803)),
        (1000, (0.964, 0.912, 0.774)),
        (2000, (0.930, 0.880, 0.747)),
        (3000, (0.896, 0.848, 0.720)),
        (4000, (0.864, 0.818, 0.694)),
        (5000, (0.832, 0.787, 0.668)),
        (6000, (0.801, 0.758, 0.643)),
        (7000, (0.772, 0.730, 0.620)),
        (8000, (0.743, 0.703, 0.596)),
        (10000, (0.688, 0.651, 0.552)),
    ],
)
def test_density_factors_of_a_fan_makers_table(altitude_ft, factors):
    # A fan maker's selection table of density over that at 70 degF and sea level, at 70, 100 and 200 degF.
    # Three printed decimals; the table is reproduced by its own formula to 0.001.
    pressure = standard_pressure_pa(altitude_ft * 0.3048)
    celsius = (np.array([70.0, 100.0, 200.0]) - 32.0) / 1.8
    reference = air_density((70.0 - 32.0) / 1.8, 101_325.0)
    np.testing.assert_allclose(air_density(celsius, pressure) / reference, factors, atol=0.0015)


def test_standard_flow_keeps_its_mass():
    density = air_density([-10.0, 13.0, 50.0], 84_000.0)
    actual = actual_airflow(5.0, density)
    np.testing.assert_allclose(actual * density, 5.0 * STANDARD_AIR_DENSITY, rtol=1e-15)


def test_thirty_kelvin_are_a_tenth_of_the_flow():
    # 30 K on 293 K by the gas law: the reason why the basis of an airflow station matters.
    cold, warm = actual_airflow(1.0, air_density([5.0, 35.0], 101_325.0))
    assert warm / cold - 1.0 == pytest.approx(30.0 / 278.15, rel=1e-12)


def test_gaps_and_impossible_air_stay_gaps():
    density = air_density([np.nan, 20.0, -300.0], [101_325.0, np.nan, 101_325.0])
    assert np.isnan(density).all()
    assert np.isnan(actual_airflow([1.0, 1.0, np.nan], [np.nan, 0.0, 1.2])).all()
    assert standard_pressure_pa(60_000.0) == 0.0
