"""How many digits of a measured number count."""

from dataclasses import fields, replace
from typing import Any

import numpy as np

from analytics.arrays import Floats
from analytics.machine import Machine

SETTLED_BITS = 30


def settled(values: Floats) -> Floats:
    """Round to nine significant digits, in binary.

    The same reading exported in another unit differs in its last bit, which the search for healthy curves
    would carry up to its own tolerance. No sensor has a fifth digit to lose.

    Parameters: `values` any shape, NaN stays. Returns: an array of the same shape.
    Equation: m 2^e -> round(m 2^30) 2^(e - 30) for a mantissa m of at least a half.
    """
    mantissa, exponent = np.frexp(values)
    return np.asarray(np.ldexp(np.rint(np.ldexp(mantissa, SETTLED_BITS)), exponent - SETTLED_BITS))


def settled_machine(machine: Machine) -> Machine:
    """Return a machine whose numbers are rounded as readings are."""
    numbers: dict[str, Any] = {
        field.name: settled(np.array(value)).item()
        for field in fields(machine)
        if isinstance(value := getattr(machine, field.name), float)
    }
    return replace(machine, **numbers)
