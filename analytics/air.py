"""How heavy is the air that the fan moves?"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats

STANDARD_AIR_DENSITY: Final = 1.2
"""Density that standard volume flows refer to [kg/m3]; AMCA 208-18. (0.075 lb/ft3 is 1.2014.)"""

_SEA_LEVEL_PRESSURE_PA: Final = 101_325.0
_DRY_AIR_GAS_CONSTANT: Final = 287.042
_ZERO_CELSIUS_K: Final = 273.15


def standard_pressure_pa(altitude_m: ArrayLike) -> Floats:
    """Barometric pressure of the standard atmosphere at an altitude.

    The weather is not in it: a real barometer wanders by about 1 % around this value.

    Parameters: `altitude_m` above sea level, any shape [m].
    Returns: pressure, the same shape [Pa]; 0 above the end of the formula at 44.3 km.
    Equation: p = 101325 (1 - 2.25577e-5 Z)^5.2559.
    Validity: -5 000 to 11 000 m.
    Source: ASHRAE Handbook, Fundamentals, chapter Psychrometrics, equation 3.
    """
    shrink = np.maximum(1.0 - 2.25577e-5 * as_floats(altitude_m), 0.0)
    return _SEA_LEVEL_PRESSURE_PA * np.power(shrink, 5.2559)


def air_density(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Density of dry air as a perfect gas.

    Moisture is left out because few air handlers trend it: moist air is lighter by 0.4 % at 20 degC and
    50 % relative humidity, by 0.8 % at 35 degC and 40 %.

    Parameters: `temperature_c`, any shape [degC]; `pressure_pa`, absolute, broadcast against it [Pa].
    Returns: density [kg/m3]; NaN at or below absolute zero.
    Equation: rho = p / (287.042 (t + 273.15)).
    Validity: -40 to 90 degC, 60 to 110 kPa; real-gas effects are below 0.05 % there.
    Source: ASHRAE Handbook, Fundamentals, chapter Psychrometrics, equation 1 (gas constant) and 26 without
    its humidity term.
    """
    kelvin = as_floats(temperature_c) + _ZERO_CELSIUS_K
    return as_floats(pressure_pa) / (_DRY_AIR_GAS_CONSTANT * np.where(kelvin > 0.0, kelvin, np.nan))


def actual_airflow(standard_airflow_m3s: ArrayLike, density: ArrayLike) -> Floats:
    """Volume flow through the fan from the standard volume flow that a thermal station reports.

    Parameters: `standard_airflow_m3s`, any shape [m3/s at 1.2 kg/m3]; `density` of the air at the fan,
    broadcast against it [kg/m3].
    Returns: actual volume flow [m3/s]; NaN where the density is not positive.
    Equation: q = q_standard 1.2 / rho, the same mass flow.
    Source: definition of standard air, AMCA 208-18.
    """
    rho = as_floats(density)
    return as_floats(standard_airflow_m3s) * STANDARD_AIR_DENSITY / np.where(rho > 0.0, rho, np.nan)
