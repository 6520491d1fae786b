"""What the text of a value cell says: a number, nothing, or something that cannot be read."""

from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

# Words that say "no value", compared without case.
MISSING_WORDS: Final = (
    "",
    "-",
    "--",
    "---",
    "----",
    "?",
    "nan",
    "null",
    "none",
    "nil",
    "n/a",
    "na",
    "n.a.",
    "#n/a",
    "#n/a n/a",
    "<na>",
    "nd",
    "no data",
    "nodata",
    "no value",
    "missing",
    "void",
    "bad",
    "fault",
    "faulty",
    "error",
    "err",
    "invalid",
    "unavailable",
    "not available",
    "offline",
    "off line",
    "down",
    "#value!",
    "#ref!",
    "#div/0!",
    "#num!",
    "#name?",
)
ON_WORDS: Final = ("on", "true", "run", "running", "start", "started", "yes", "active", "enabled", "enable")
OFF_WORDS: Final = ("off", "false", "stop", "stopped", "no", "inactive", "disabled", "disable", "not running")

# The spellings that the fast reader takes as missing by itself; any other goes the careful way.
MISSING_SPELLINGS: Final = tuple(
    {form for word in MISSING_WORDS for form in (word, word.upper(), word.capitalize(), word.title())}
    | {"NaN", "N/a"}
)
_NUMBER: Final = r"^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?$"
_DECIMAL_COMMA: Final = r"^[+-]?[0-9]*,[0-9]+([eE][+-]?[0-9]+)?$"


class Numbers:
    """A column of cells read: NaN where there is no number, and whether that is missing or refused."""

    __slots__ = ("is_missing", "is_refused", "values")

    def __init__(
        self,
        values: NDArray[np.float64],
        is_missing: NDArray[np.bool_],
        is_refused: NDArray[np.bool_] | None,
    ) -> None:
        """Hold them; `is_refused` None says that nothing was."""
        self.values = values
        self.is_missing = is_missing
        self.is_refused = is_refused

    def refuse(self, place: int) -> None:
        """Refuse one cell, whatever it said."""
        if self.is_refused is None:
            self.is_refused = np.zeros(len(self.values), dtype=bool)
        self.values = self.values.copy()
        self.is_missing = self.is_missing.copy()
        self.is_refused[place], self.is_missing[place], self.values[place] = True, False, np.nan


def from_floats(column: pa.ChunkedArray) -> Numbers:
    """Take a column that the fast reader could read: nulls are missing."""
    values = column.to_numpy()
    is_missing = np.isnan(values)
    is_infinite = np.isinf(values)
    if not is_infinite.any():
        return Numbers(values, is_missing, None)
    return Numbers(np.where(is_infinite, np.nan, values), is_missing, is_infinite)


def from_texts(column: pa.ChunkedArray, decimal: str, *, is_status: bool) -> Numbers:
    """Read a column of texts; `is_status` lets words for on and off stand for 1 and 0."""
    words = pc.utf8_lower(pc.utf8_trim_whitespace(column))
    is_missing = _as_mask(pc.is_in(words, value_set=pa.array(MISSING_WORDS)))
    plain = words
    if decimal == ",":
        plain = pc.replace_substring(pc.replace_substring(words, ".", "x"), ",", ".")
    is_number = _as_mask(pc.match_substring_regex(plain, _NUMBER))
    values = np.full(len(words), np.nan)
    values[is_number] = plain.filter(pa.array(is_number)).cast(pa.float64()).to_numpy()
    if is_status:
        values[_as_mask(pc.is_in(words, value_set=pa.array(ON_WORDS)))] = 1.0
        values[_as_mask(pc.is_in(words, value_set=pa.array(OFF_WORDS)))] = 0.0
        is_missing &= np.isnan(values)
    values[np.isinf(values)] = np.nan
    return Numbers(values, is_missing, np.isnan(values) & ~is_missing)


def has_decimal_commas(column: pa.ChunkedArray | pa.Array) -> bool:
    """Tell whether the numbers of a column are written with a decimal comma."""
    words = pc.utf8_trim_whitespace(column)
    commas = pc.sum(pc.match_substring_regex(words, _DECIMAL_COMMA)).as_py() or 0
    points = pc.sum(pc.match_substring_regex(words, r"^[+-]?[0-9]*\.[0-9]+")).as_py() or 0
    return bool(commas > points)


def _as_mask(column: pa.ChunkedArray) -> NDArray[np.bool_]:
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=bool)
