"""How often does a bearing want grease?"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from analytics.arrays import Floats, as_floats

# By the words of bearing_type in fans.csv; what is none of them is taken as ball.
BALL: Final = 10.0
CYLINDRICAL: Final = 5.0
SPHERICAL: Final = 1.0
_WARM_C: Final = 70.0
_HALVED_EVERY_C: Final = 15.0
_MOST_HOURS: Final = 26_280.0


def bearing_factor(bearing_type: str) -> float | None:
    """Return the factor of a bearing's kind by the words it is declared with, None for other words.

    Parameters: `bearing_type`, free words. Returns: 10 for ball, 5 for cylindrical and needle rollers, 1 for
    spherical and tapered rollers [-].
    Source: as for `relubrication_hours`.
    """
    words = bearing_type.casefold()
    if any(word in words for word in ("spherical", "taper")):
        return SPHERICAL
    if any(word in words for word in ("cylindrical", "needle")):
        return CYLINDRICAL
    return BALL if "ball" in words else None


def relubrication_hours(
    rpm: ArrayLike, bore_mm: ArrayLike, factor: ArrayLike, outer_ring_c: ArrayLike = _WARM_C
) -> Floats:
    """Running hours after which a greased bearing wants grease again.

    For a horizontal shaft in a clean place; a vertical shaft halves it, dust and damp shorten it more.

    Parameters: `rpm`; `bore_mm` [mm]; `factor` of its kind; `outer_ring_c` temperature [degC]; any shape.
    Returns: interval [h], at least 0 and at most three years.
    Equation: k (14e6 / (n sqrt(d)) - 4 d), halved for each 15 K above 70 degC.
    Validity: speeds that the bearing is made for; mineral grease.
    Source: the bearing makers' formula as printed in the Tribology Handbook, page A20.5 (k), and technical
    guides for drive elements; the halving from a bearing maker's sheet. The cap is ours: grease ages
    standing.
    """
    speed, bore = as_floats(rpm), as_floats(bore_mm)
    plain = as_floats(factor) * (14e6 / (np.maximum(speed, 1.0) * np.sqrt(bore)) - 4.0 * bore)
    warm = np.power(0.5, np.maximum(as_floats(outer_ring_c) - _WARM_C, 0.0) / _HALVED_EVERY_C)
    return np.clip(plain * warm, 0.0, _MOST_HOURS)
