"""What the points of an export look like: the raw material of a proposed role."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from service.intake.numbers import from_texts, plain_numbers
from service.intake.zones import Times

TEXT_LIMIT: Final = 400


@dataclass(frozen=True, slots=True)
class Look:
    """The range of some cells, one of them as written, and whether any is no number."""

    example: str
    low: float | None
    high: float | None
    has_text: bool


@dataclass(frozen=True, slots=True)
class SeenPoint:
    """A point name that an export carried, mapped or not, with what it looked like."""

    name: str
    first_us: int | None
    last_us: int | None
    cells: int
    look: Look


def look_at_texts(cells: Sequence[str], decimal: str) -> Look:
    """Look at cells as they are written."""
    plain = plain_numbers(cells) if decimal == "." else None
    if plain is not None:
        return look_at_numbers(plain, cells[0])
    read = from_texts(pa.chunked_array([pa.array(cells, type=pa.string())]), decimal, is_status=False)
    has_text = read.is_refused is not None and bool(read.is_refused.any())
    return look_at_numbers(read.values, next((cell for cell in cells if cell.strip()), ""), has_text=has_text)


def look_at_numbers(values: NDArray[np.float64], example: str, *, has_text: bool = False) -> Look:
    """Look at cells that are read already, NaN where there is no number."""
    numbers = values[~np.isnan(values)]
    low, high = (float(numbers.min()), float(numbers.max())) if numbers.size else (None, None)
    return Look(shortened(example), low, high, has_text)


def span_of(times_us: Times) -> tuple[int | None, int | None]:
    """Return the first and the last of some times, if there are any."""
    return (int(times_us.min()), int(times_us.max())) if times_us.size else (None, None)


def shortened(text: str) -> str:
    """Return a text fit to be kept in a database: without NUL and not endless."""
    clean = text.replace("\0", "")
    return clean if len(clean) <= TEXT_LIMIT else clean[: TEXT_LIMIT - 1] + "…"
