"""What is odd about the values of a point, said with its numbers; nothing is corrected or refused for it.

The bounds are common practice, without a source.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analytics.machine import Machine
from analytics.vocabulary import Role
from service.intake.mapping import PointMap, Target
from service.intake.series import Series

Floats = NDArray[np.float64]

_FEW: Final = 12  # values that say nothing yet
FLAT_VALUES: Final = 96  # readings of one day at a quarter of an hour
_AT_REST: Final = -0.01
_LEAST_SHARE: Final = 0.1
_OVER_SPEED: Final = 1.02
_OFF_SCALE_PA: Final = 10_000.0
_NEGATIVE_SHARE: Final = 0.01
SENSED: Final = frozenset({Role.CURRENT, Role.POWER, Role.TORQUE, Role.AIRFLOW, Role.PRESSURE})
# What a busy fan's value may be against what is expected of it.
_FITS: Final = (0.15, 1.6)
# Units that are mixed up: minutes or hours for seconds, cfm or inches of water for SI, thousands.
_FACTORS: Final = {
    Role.AIRFLOW: (60.0, 2118.88, 1000.0, 3600.0),
    Role.PRESSURE: (249.089, 1000.0),
    Role.POWER: (1000.0,),
}
_PER_KW_M3S: Final = 0.5  # a fan's airflow for each kW of its motor, where no design airflow is declared
_USUAL_PA: Final = 500.0


def oddities(series: dict[str, Series], points: PointMap) -> list[str]:
    """Return what is odd about an export's values, a sentence each."""
    found: dict[str, None] = {}
    for point, one in series.items():
        for target in points.targets[point]:
            if target.machine is None or target.role is None:
                continue
            # Times are in order: those of an epoch stand together.
            start, end = np.searchsorted(one.times_us, (target.start_us, target.end_us)).tolist()
            written = one.values[start:end]
            for sentence in _of_values(target.to_si(written), written, target, target.machine):
                found[f"{point!r}: {sentence}"] = None
    return list(found)


def _of_values(values: Floats, written: Floats, target: Target, machine: Machine) -> list[str]:
    if len(values) < _FEW:
        return []
    tests: tuple[Callable[[Floats, Floats, Target, Machine], str], ...] = (_sign, _speed, _flat, _scale)
    return [sentence for test in tests if (sentence := test(values, written, target, machine))]


def _sign(values: Floats, written: Floats, target: Target, _machine: Machine) -> str:
    if target.role not in {Role.CURRENT, Role.POWER, Role.AIRFLOW}:
        return ""
    is_negative = values < -0.02 * np.abs(values).max()
    count = int(np.count_nonzero(is_negative))
    if count <= _NEGATIVE_SHARE * len(values):
        return ""
    return f"{count} of {len(values)} values are negative, down to {written.min():g}"


def _speed(values: Floats, written: Floats, target: Target, machine: Machine) -> str:
    if target.role is not Role.SPEED:
        return ""
    below = int(np.count_nonzero(values < _AT_REST))
    if below:
        return (
            f"{below} of {len(values)} speeds are below zero, down to {written.min():g}: the signal of a "
            "stopped drive seems offset"
        )
    most = float(written.max())
    if target.unit == "percent" and _LEAST_SHARE < most <= 1.0 and len(np.unique(written)) > _FEW:
        return f"speeds up to {most:g} read as percent: the unit is likely fraction"
    top = machine.max_speed_fraction
    over = int(np.count_nonzero(values > _OVER_SPEED * top))
    if over:
        return f"{over} of {len(values)} speeds are over the drive's limit, up to {written.max():g}"
    return ""


def is_flat(values: Floats) -> bool:
    """Tell whether values are all the same and not zero, which a stopped fan says for days."""
    return bool(values[0] != 0 and np.all(values == values[0]))


def _flat(values: Floats, written: Floats, target: Target, _machine: Machine) -> str:
    if target.role not in SENSED or len(values) < FLAT_VALUES or not is_flat(values):
        return ""
    return f"all {len(values)} values are {written[0]:g}: flat or stuck"


def _scale(values: Floats, written: Floats, target: Target, machine: Machine) -> str:
    expected, what = _expected(target, machine)
    if expected is None:
        return ""
    busy = _high(values)
    ratio = busy / expected
    most = _FITS[1] * (1.0 if what.startswith("design") else 4.0)
    # A fan that runs a few hours a week stands in nineteen values of twenty: what it reaches counts too.
    reached = float(np.abs(values).max()) / expected
    if busy == 0.0 or any(_FITS[0] <= one <= most for one in (ratio, reached)):
        return ""
    shown = _high(written)
    factors = _FACTORS[target.role] if target.role is not None else ()
    for factor in (*factors, *(1.0 / factor for factor in factors)):
        if 0.4 <= ratio / factor <= 1.3:
            times = f"{factor:.4g} times" if factor > 1.0 else f"a {1.0 / factor:.4g}th of"
            return (
                f"values up to {shown:g} read as {target.unit} are {times} what fits the {what}: "
                "the unit is likely another"
            )
    if target.role is Role.PRESSURE and busy > _OFF_SCALE_PA:
        return f"pressures up to {busy:.0f} Pa are off the scale of a fan"
    return ""


def _high(values: Floats) -> float:
    """Return the size that one value of twenty passes."""
    place = int(0.95 * (len(values) - 1))
    return float(np.partition(np.abs(values), place)[place])


def _expected(target: Target, machine: Machine) -> tuple[float | None, str]:
    if target.role is Role.AIRFLOW and not machine.is_airflow_shared:
        if machine.design_airflow_m3s:
            return machine.design_airflow_m3s, "design airflow"
        return _PER_KW_M3S * machine.motor_rated_power_w / 1000.0, "motor's size"
    if target.role is Role.PRESSURE:
        if machine.design_pressure_pa:
            return machine.design_pressure_pa, "design pressure"
        return _USUAL_PA, "usual pressure of a fan"
    if target.role is Role.POWER:
        return machine.motor_rated_power_w, "motor's rated power"
    return None, ""
