"""What a belt does between motor and wheel: slip that follows torque over tension, and tension that relaxes.

The torque is carried whole, the speed is lost. `load` is motor torque over what the belt carries at the
knee when it is as tight as it was set, divided by the tension now.
"""

from dataclasses import dataclass, field

import numpy as np

from demo_trends.arrays import Array

_LOADS = np.concatenate([np.linspace(0.0, 2.0, 2001), np.geomspace(2.001, 60.0, 600)])


@dataclass(frozen=True, slots=True)
class SlipLaw:
    """Slip against load: creep in proportion below the knee, steep above it.

    `shape` is `power` (a high power of load), `hinge` (a rounded kink to a steep line) or `barrier` (a pole
    at the load the belt cannot carry at all). `creep` is slip per unit load below the knee.
    """

    shape: str
    creep: float
    steepness: float
    knee: float

    def exponent(self, load: Array) -> Array:
        """-ln(1 - slip) at a load."""
        straight = self.creep * load
        if self.shape == "power":
            return np.asarray(straight + 0.02 * (load / self.knee) ** self.steepness, dtype=np.float64)
        if self.shape == "hinge":
            width = 0.07 * self.knee
            bent = width * np.logaddexp(0.0, (load - self.knee) / width)
            return np.asarray(straight + 0.06 * self.steepness * bent, dtype=np.float64)
        ratio = np.minimum(load / (1.45 * self.knee), 0.985)
        pole = 0.05 * ratio**self.steepness / (1.0 - ratio) + 4.0 * np.maximum(
            load / (1.45 * self.knee) - 0.985, 0
        )
        return np.asarray(straight + pole, dtype=np.float64)

    def slip(self, load: Array) -> Array:
        """Slip fraction at a load."""
        return np.asarray(1.0 - np.exp(-np.minimum(self.exponent(load), 40.0)), dtype=np.float64)

    def load_for(self, slip: Array) -> Array:
        """The load at which the belt slips so much."""
        table = self.exponent(_LOADS)
        return np.asarray(np.interp(-np.log1p(-np.clip(slip, 0.0, 0.95)), table, _LOADS), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Tension:
    """How tension falls after fitting: fast in the first two days, then slowly to a loose state."""

    fitted_days_before: float = 200.0
    run_in_excess: float = 0.30
    run_in_days: float = 0.7
    loose: float = 0.55
    slow_days: float = 1500.0

    def after(self, days_since_fitting: Array) -> Array:
        """Tension over the set value so many days after the belt was fitted or tightened."""
        days = np.maximum(days_since_fitting, 0.0)
        slow = self.loose + (1.0 - self.loose) * np.exp(-days / self.slow_days)
        return np.asarray(slow + self.run_in_excess * np.exp(-days / self.run_in_days), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Belt:
    """The drive between the shafts; `law` is None where nothing can slip.

    Torques are fractions of the motor's rated torque: `knee_torque` is where the knee lies at set tension,
    `flexing` what bending the belt costs, a little more at high tension.
    """

    kind: str
    law: SlipLaw | None = None
    knee_torque: float = 1.0
    flexing: float = 0.02
    tension: Tension = field(default_factory=Tension)

    def flexing_fraction(self, tension: Array) -> Array:
        """Torque that bending costs, over rated torque."""
        return np.asarray(self.flexing * (0.6 + 0.4 * tension), dtype=np.float64)

    def slip(self, torque_fraction: Array, tension: Array) -> Array:
        """Slip at a motor torque (over rated) and a tension."""
        if self.law is None:
            return np.zeros(np.broadcast_shapes(np.shape(torque_fraction), np.shape(tension)))
        return self.law.slip(torque_fraction / (self.knee_torque * tension))

    def tension_for(self, slip: Array, torque_fraction: float) -> Array:
        """The tension at which the belt slips so much under this torque."""
        if self.law is None:
            raise ValueError(f"a {self.kind} drive cannot slip")
        load = self.law.load_for(slip)
        return np.asarray(torque_fraction / (self.knee_torque * np.maximum(load, 1e-6)), dtype=np.float64)
