"""The units a building system trends in, and back: exact factors of this package's own."""

from dataclasses import dataclass

import numpy as np

from demo_trends.arrays import Array

M3S_PER_CFM = 0.3048**3 / 60.0
PA_PER_INWG = 249.08891
W_PER_HP = 745.69987158


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as `value in SI = (value + offset) x factor`."""

    name: str
    factor: float
    offset: float = 0.0

    def from_si(self, values: Array) -> Array:
        """Values in this unit."""
        return np.asarray(values / self.factor - self.offset, dtype=np.float64)

    def to_si(self, values: Array) -> Array:
        """Values in SI."""
        return np.asarray((values + self.offset) * self.factor, dtype=np.float64)


UNITS: dict[str, Unit] = {
    unit.name: unit
    for unit in (
        Unit("1", 1.0),
        Unit("percent", 0.01),
        Unit("A", 1.0),
        Unit("kW", 1000.0),
        Unit("W", 1.0),
        Unit("cfm", M3S_PER_CFM),
        Unit("m3/s", 1.0),
        Unit("m3/h", 1.0 / 3600.0),
        Unit("L/s", 0.001),
        Unit("inwg", PA_PER_INWG),
        Unit("Pa", 1.0),
        Unit("kPa", 1000.0),
        Unit("degC", 1.0),
        Unit("degF", 5.0 / 9.0, -32.0),
        Unit("rpm", 1.0),
    )
}
