"""How do values change with what they were made of: arithmetic that carries slopes along."""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats


@dataclass(frozen=True, slots=True)
class Sloped:
    """A value and its slopes: `value` (searches, hours), `by` (searches, hours, values)."""

    value: Floats
    by: Floats

    def __mul__(self, factor: float | Floats) -> "Sloped":
        return Sloped(self.value * factor, self.by * _over_values(factor))

    def times(self, other: "Sloped") -> "Sloped":
        """Return the product."""
        by = self.by * other.value[..., None] + other.by * self.value[..., None]
        return Sloped(self.value * other.value, by)

    def over(self, other: "Sloped") -> "Sloped":
        """Return the quotient."""
        found = self.value / other.value
        return Sloped(found, (self.by - other.by * found[..., None]) / other.value[..., None])

    def plus(self, other: "Sloped | float | Floats", factor: float = 1.0) -> "Sloped":
        """Return the sum with a factor of another."""
        if isinstance(other, Sloped):
            return Sloped(self.value + factor * other.value, self.by + factor * other.by)
        return Sloped(self.value + factor * other, self.by)

    def root(self) -> "Sloped":
        """Return the square root."""
        found = np.sqrt(self.value)
        return Sloped(found, 0.5 * self.by / found[..., None])


def _over_values(factor: float | Floats) -> float | Floats:
    return factor[..., None] if isinstance(factor, np.ndarray) else factor
