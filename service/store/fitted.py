"""How healthy curves are written down and read again, to the last bit."""

from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from typing import Any, Final

import numpy as np

from analytics.arrays import Floats
from analytics.curves import HealthyCurves
from analytics.machine import Machine
from analytics.model import LoadKind
from analytics.rounding import settled_machine
from analytics.scaled_hours import Channels

FULL_CURRENT: Final = "full_current_a"


def curves_as_json(curves: HealthyCurves) -> dict[str, Any]:
    """Return healthy curves as JSON; a float's shortest text reads back to the same bits."""
    return {name: _plain(value) for name, value in asdict(curves).items()}


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist()
    # JSON knows no NaN: a blank stands for it.
    if isinstance(value, float) and np.isnan(value):
        return None
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def curves_from_json(written: Mapping[str, Any]) -> HealthyCurves:
    """Read healthy curves again."""
    values: dict[str, Any] = {}
    for field in fields(HealthyCurves):
        value = written[field.name]
        if field.type == Floats:
            value = np.array(value, dtype=np.float64)
        elif field.type == tuple[float, float]:
            value = tuple(np.nan if part is None else part for part in value)
        elif field.type is Channels:
            value = Channels(**{**value, "load_kind": LoadKind(value["load_kind"])})
        elif value is None:
            value = np.nan
        values[field.name] = value
    return HealthyCurves(**values)


def machine_judged(machine: Machine, written: Mapping[str, Any] | None) -> Machine:
    """Return a machine as it is judged: with the rated current its curves were scaled by, if it has none."""
    full = None if written is None else written[FULL_CURRENT]
    plain = settled_machine(machine)
    return plain if full is None else replace(plain, motor_rated_current_a=full)
