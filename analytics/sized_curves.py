"""Part-load efficiency curves that are published for a few rated sizes, read between the sizes."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import WATTS_PER_HP, Floats, as_floats


@dataclass(frozen=True, slots=True)
class SizedCurves:
    """Curves a x / (b + x) + c x of the load fraction x, one for each rated size.

    Between sizes the two neighbours are averaged by the logarithm of size; beyond the table the end
    curve holds. A negative load counts as none; a size that is not positive gives NaN.
    """

    log_size: tuple[float, ...]
    a: tuple[float, ...]
    b: tuple[float, ...]
    c: tuple[float, ...]

    @classmethod
    def of_horsepower(cls, *rows: tuple[float, float, float, float]) -> Self:
        """Curves from rows of rated hp, a, b and c, smallest first."""
        size, a, b, c = zip(*rows, strict=True)
        return cls(tuple(float(np.log(hp * WATTS_PER_HP)) for hp in size), a, b, c)

    def value(self, fraction: ArrayLike, rated_power_w: ArrayLike) -> Floats:
        """The curve at a load fraction; 0 at no load."""
        return np.maximum(as_floats(fraction), 0.0) / self.demand(fraction, rated_power_w)

    def demand(self, fraction: ArrayLike, rated_power_w: ArrayLike) -> Floats:
        """Load fraction over the curve: what goes in. It is finite at no load and rises throughout."""
        x = np.maximum(as_floats(fraction), 0.0)
        curve = self._blend(rated_power_w)
        return 1.0 / (curve.a_small / (curve.b_small + x) + curve.a_large / (curve.b_large + x) + curve.c)

    def fraction(self, demand: ArrayLike, rated_power_w: ArrayLike) -> Floats:
        """The load fraction that has a demand: the inverse of `demand`, solved exactly.

        Less than the demand at no load gives 0; more than the curve can ever ask for gives NaN.
        With d the demand, a / (b + x) + a' / (b' + x) + c = 1 / d is quadratic in x.
        """
        wanted = np.maximum(as_floats(demand), 0.0)
        curve = self._blend(rated_power_w)
        left = 1.0 - curve.c * wanted
        square = np.where(left > 0.0, left, np.nan)
        linear = square * (curve.b_small + curve.b_large) - wanted * (curve.a_small + curve.a_large)
        constant = square * curve.b_small * curve.b_large - wanted * (
            curve.a_small * curve.b_large + curve.a_large * curve.b_small
        )
        root = (np.sqrt(np.square(linear) - 4.0 * square * constant) - linear) / (2.0 * square)
        return np.maximum(root, 0.0)

    def _blend(self, rated_power_w: ArrayLike) -> "_Blend":
        size = as_floats(rated_power_w)
        table = as_floats(self.log_size)
        log_size = np.log(np.where(size > 0.0, size, np.nan))
        small = np.clip(np.searchsorted(table, log_size, side="right") - 1, 0, table.size - 2)
        weight = np.clip((log_size - table[small]) / (table[small + 1] - table[small]), 0.0, 1.0)
        a, b, c = as_floats(self.a), as_floats(self.b), as_floats(self.c)
        return _Blend(
            a_small=(1.0 - weight) * a[small],
            a_large=weight * a[small + 1],
            b_small=b[small],
            b_large=b[small + 1],
            c=(1.0 - weight) * c[small] + weight * c[small + 1],
        )


@dataclass(frozen=True, slots=True)
class _Blend:
    """The neighbouring curves of each rated size, `a` and `c` already weighted."""

    a_small: Floats
    a_large: Floats
    b_small: Floats
    b_large: Floats
    c: Floats
