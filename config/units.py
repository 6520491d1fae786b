"""What a trend point's unit is worth in SI: the one table of exact factors, used once, at the door."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.vocabulary import Role

FOOT_M: Final = 0.3048  # exact, international foot (NIST SP 811:2008, B.6)
INCH_M: Final = 0.0254  # exact, international inch (NIST SP 811:2008, B.6)
POUND_FORCE_N: Final = (
    0.45359237 * 9.80665
)  # exact: pound (NIST SP 811 B.6) times standard gravity (CGPM 1901)
HORSEPOWER_W: Final = (
    550.0 * FOOT_M * POUND_FORCE_N
)  # exact: 550 ft lbf/s, mechanical, not metric or electric
CUBIC_FOOT_PER_MINUTE_M3S: Final = FOOT_M**3 / 60.0  # exact
# The conventional inch of water of NIST SP 811 B.8: water of 1000 kg/m3 (4 degC) under standard gravity,
# 249.08891 Pa. Not the inch at 60 degF (248.84 Pa), which differs by 0.1 %.
INCH_OF_WATER_PA: Final = INCH_M * 1000.0 * 9.80665
# The conventional inch of mercury of NIST SP 811 B.8: mercury of 13595.1 kg/m3 (0 degC).
INCH_OF_MERCURY_PA: Final = INCH_M * 13595.1 * 9.80665
POUND_PER_SQUARE_INCH_PA: Final = POUND_FORCE_N / INCH_M**2  # exact


@dataclass(frozen=True, slots=True)
class Factor:
    """An affine conversion: SI value = (written value - offset) * scale."""

    scale: float
    offset: float = 0.0


ONE: Final = Factor(1.0)
PERCENT: Final = Factor(0.01)
POWER: Final = MappingProxyType({"kW": Factor(1000.0), "W": ONE, "hp": Factor(HORSEPOWER_W)})
AIRFLOW: Final = MappingProxyType(
    {
        "cfm": Factor(CUBIC_FOOT_PER_MINUTE_M3S),
        "m3/s": ONE,
        "m3/h": Factor(1.0 / 3600.0),
        "L/s": Factor(0.001),
    }
)
PRESSURE: Final = MappingProxyType({"inwg": Factor(INCH_OF_WATER_PA), "Pa": ONE, "kPa": Factor(1000.0)})
TEMPERATURE: Final = MappingProxyType(
    {"degF": Factor(5.0 / 9.0, offset=32.0), "degC": ONE}  # exact (NIST SP 811 B.8)
)
BAROMETRIC_PRESSURE: Final = MappingProxyType(
    {
        **PRESSURE,
        "hPa": Factor(100.0),
        "inHg": Factor(INCH_OF_MERCURY_PA),
        "psi": Factor(POUND_PER_SQUARE_INCH_PA),
    }
)
FRACTION: Final = MappingProxyType({"percent": PERCENT, "fraction": ONE})

# What each role's unit may be called; the first is the default. Speed and current also depend on the motor.
ROLE_UNITS: Final[Mapping[Role, tuple[str, ...]]] = MappingProxyType(
    {
        Role.SPEED: ("percent", "fraction", "Hz", "rpm"),
        Role.CURRENT: ("A", "percent"),
        Role.POWER: tuple(POWER),
        Role.TORQUE: ("percent",),
        Role.AIRFLOW: tuple(AIRFLOW),
        Role.PRESSURE: tuple(PRESSURE),
        Role.AIR_TEMPERATURE: tuple(TEMPERATURE),
        Role.RUN_STATUS: ("state",),
        Role.MOTOR_SPEED: ("rpm",),
        Role.WHEEL_SPEED: ("rpm",),
        Role.OUTDOOR_AIR_DAMPER: ("percent", "fraction"),
    }
)
BY_SIZE: Final = "by_size"  # the atmosphere's pressure tells its own unit
BAROMETRIC_UNITS: Final = (BY_SIZE, *BAROMETRIC_PRESSURE)

_FACTORS: Final[Mapping[Role, Mapping[str, Factor]]] = MappingProxyType(
    {
        Role.CURRENT: MappingProxyType({"A": ONE}),
        Role.POWER: POWER,
        Role.TORQUE: FRACTION,
        Role.AIRFLOW: AIRFLOW,
        Role.PRESSURE: PRESSURE,
        Role.AIR_TEMPERATURE: TEMPERATURE,
        Role.RUN_STATUS: MappingProxyType({"state": ONE}),
        Role.MOTOR_SPEED: MappingProxyType({"rpm": ONE}),
        Role.WHEEL_SPEED: MappingProxyType({"rpm": ONE}),
        Role.OUTDOOR_AIR_DAMPER: FRACTION,
    }
)
# The atmosphere up to 4000 m above the sea, with weather, in Pa. Within these bounds no two of the barometric
# units overlap (psi ends at 15.8, inHg begins at 17.7), so a reading inside one of them names its unit.
_ATMOSPHERE_PA: Final = (60_000.0, 109_000.0)


def to_si(
    role: Role,
    unit: str,
    values: ArrayLike,
    *,
    full_scale: float | None = None,
    motor_hz: float | None = None,
    max_hz: float | None = None,
    zero_hz: float = 0.0,
    sync_rpm: float | None = None,
) -> NDArray[np.float64]:
    """Convert a role's written values to SI (fractions for speed, torque and damper, rpm for shaft speeds).

    `full_scale` [A] is what 100 % of a current is; the frequencies [Hz] and the synchronous speed [rpm]
    are needed for speed alone, whose result is output frequency over `motor_hz`.
    """
    numbers = np.asarray(values, dtype=np.float64)
    if role is Role.SPEED:
        return _speed_fraction(
            unit, numbers, motor_hz=motor_hz, max_hz=max_hz, zero_hz=zero_hz, sync_rpm=sync_rpm
        )
    if role is Role.CURRENT and unit == "percent":
        return numbers * (_needed("full_scale", full_scale) / 100.0)
    factors = _FACTORS[role]
    if unit not in factors:
        raise ValueError(f"{role} has no unit {unit!r}; it is one of {', '.join(ROLE_UNITS[role])}")
    return _apply(factors[unit], numbers)


def temperature_to_si(unit: str, values: ArrayLike) -> NDArray[np.float64]:
    """Convert written temperatures to degC."""
    return _apply(TEMPERATURE[unit], np.asarray(values, dtype=np.float64))


def barometric_to_si(unit: str, values: ArrayLike) -> NDArray[np.float64]:
    """Convert a barometer's written values to Pa; `by_size` takes each value in the one unit it can be in.

    A value that is an atmosphere in no unit is kept as written, to be seen and refused by the judgement.
    """
    numbers = np.asarray(values, dtype=np.float64)
    if unit != BY_SIZE:
        return _apply(BAROMETRIC_PRESSURE[unit], numbers)
    low, high = _ATMOSPHERE_PA
    result = numbers.copy()
    for factor in BAROMETRIC_PRESSURE.values():
        pascals = numbers * factor.scale
        is_atmosphere = (pascals >= low) & (pascals <= high)
        result = np.where(is_atmosphere, pascals, result)
    return result


def number_to_si(factors: Mapping[str, Factor], unit: str, value: float) -> float:
    """Convert one declared number."""
    factor = factors[unit]
    return (value - factor.offset) * factor.scale


def _speed_fraction(
    unit: str,
    numbers: NDArray[np.float64],
    *,
    motor_hz: float | None,
    max_hz: float | None,
    zero_hz: float,
    sync_rpm: float | None,
) -> NDArray[np.float64]:
    if unit == "rpm":
        return numbers / _needed("sync_rpm", sync_rpm)
    base = _needed("motor_hz", motor_hz)
    if unit == "Hz":
        return numbers / base
    if unit not in FRACTION:
        raise ValueError(f"speed has no unit {unit!r}; it is one of {', '.join(ROLE_UNITS[Role.SPEED])}")
    top = base if max_hz is None else max_hz
    return (zero_hz + _apply(FRACTION[unit], numbers) * (top - zero_hz)) / base


def _apply(factor: Factor, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    return (numbers - factor.offset) * factor.scale if factor.offset else numbers * factor.scale


def _needed(name: str, value: Any) -> float:
    if value is None:
        raise ValueError(f"this unit needs {name}")
    return float(value)
