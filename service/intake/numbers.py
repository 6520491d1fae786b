"""What the text of a value cell says: a number, nothing, or something that cannot be read."""

import itertools
from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from service.intake.quantities import unit_named

# Words that say "no value", compared without case.
MISSING_WORDS: Final = (
    "",
    "-",
    "--",
    "---",
    "----",
    "?",
    "??",
    "???",
    "*",
    "**",
    "***",
    "****",
    "*****",
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

# Words by which a column beside the values, or a flag, says that a value is none.
BAD_WORDS: Final = (
    *("fault", "faulted", "faulty", "down", "stale", "bad", "invalid", "error", "err", "offline", "failed"),
    *("failure", "null", "nan", "missing", "disabled", "unavailable", "unreliable", "questionable"),
    *("suspect", "uncertain", "nodata", "no data", "comm fail", "communication failure", "disconnected"),
)

# The spellings that the fast reader takes as missing by itself; any other goes the careful way.
MISSING_SPELLINGS: Final = tuple(
    {form for word in MISSING_WORDS for form in (word, word.upper(), word.capitalize(), word.title())}
    | {"NaN", "N/a"}
)
# Numbers that systems write where they have none; no fan's point says them. Not -999: an exhaust fan's
# pressure in Pa may well.
SENTINELS: Final = (-9999.0, -99999.0, -999999.0, -32768.0, -2147483648.0, 3.4028234663852886e38)
_SENTINELS: Final = np.array(
    [*SENTINELS, -SENTINELS[-1], 3.402823e38, -3.402823e38, 3.4028235e38, -3.4028235e38]
)
_LEAST_SENTINEL, _GREATEST_NUMBER = -9999.0, 3.4e38
_OK_FLAGS: Final = (
    *("ok", "good", "valid", "normal", "nominal", "g", "true", "fine", "raw"),
    *("on", "off", "active", "inactive", "running", "false"),  # what a status's number stands for
)
_NUMBER: Final = r"^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?$"
_FLAGGED: Final = r"^(?P<number>[^\[\](){}<>]*?)\s*[\[({<]\s*(?P<flag>[^\[\](){}<>]*?)\s*[\])}>]$"
_SUFFIXED: Final = (
    r"^(?P<number>[+-]?[0-9][0-9.,' \x{a0}\x{202f}]*?(?:e[+-]?[0-9]+)?)"
    r"\s*(?P<unit>[a-z%°\"][a-z%°/0-9^³. \"]*)$"
)
_SPACES: Final = r"['’\x{a0}\x{202f}\x{2009} ]"
_GROUPED: Final = {
    ".": r"^[+-]?[0-9]{1,3}(?:(?:,[0-9]{3})+|(?:['’\x{a0}\x{202f}\x{2009} ][0-9]{3})+)(?:\.[0-9]*)?$",
    ",": r"^[+-]?[0-9]{1,3}(?:(?:\.[0-9]{3})+|(?:['’\x{a0}\x{202f}\x{2009} ][0-9]{3})+)(?:,[0-9]*)?$",
}
_SURE: Final = {
    # A lone mark with other than three digits after it, or after a nought; or one after groups of the other.
    mark: rf"^[+-]?(?:0?{sign}[0-9]+|[0-9]+{sign}(?:[0-9]{{1,2}}|[0-9]{{4,}})|[0-9]{{4,}}{sign}[0-9]+"
    rf"|[0-9]{{1,3}}(?:{other}[0-9]{{3}})+{sign}[0-9]+|[0-9]{{1,3}}(?:{other}[0-9]{{3}}){{2,}})"
    r"(?:[eE][+-]?[0-9]+)?$"
    for mark, sign, other in ((".", r"\.", ","), (",", ",", r"\."))
}
_MAYBE: Final = {
    mark: rf"^[+-]?[1-9][0-9]{{0,2}}{sign}[0-9]{{3}}$" for mark, sign in ((".", r"\."), (",", ","))
}


class Numbers:
    """A column of cells read: NaN where there is no number, and whether that is missing or refused."""

    __slots__ = ("is_missing", "is_refused", "told", "units", "values")

    def __init__(
        self,
        values: NDArray[np.float64],
        is_missing: NDArray[np.bool_],
        is_refused: NDArray[np.bool_] | None,
        told: Counter[str] | None = None,
        units: frozenset[str] = frozenset(),
    ) -> None:
        """Hold them; `is_refused` None says that nothing was, `told` what was not taken as it stands.

        `units` those that stood behind numbers.
        """
        self.units = units
        self.values = values
        self.is_missing = is_missing
        self.is_refused = is_refused
        self.told: Counter[str] = Counter() if told is None else told

    def without(self, is_bad: NDArray[np.bool_], what: str) -> "Numbers":
        """Return them without the numbers that something beside them says are none."""
        is_lost = is_bad & ~np.isnan(self.values)
        told = self.told + Counter({what: int(np.count_nonzero(is_lost))})
        return Numbers(
            np.where(is_bad, np.nan, self.values),
            self.is_missing | is_bad,
            None if self.is_refused is None else self.is_refused & ~is_bad,
            told,
            self.units,
        )

    def refuse(self, place: int) -> None:
        """Refuse one cell, whatever it said."""
        if self.is_refused is None:
            self.is_refused = np.zeros(len(self.values), dtype=bool)
        self.values = self.values.copy()
        self.is_missing = self.is_missing.copy()
        self.is_refused[place], self.is_missing[place], self.values[place] = True, False, np.nan


def are_bad(words: pa.Array) -> NDArray[np.bool_]:
    """Tell which words, alone or among others parted by marks, say that a value is none."""
    plain = pc.replace_substring_regex(pc.utf8_lower(words), r"[^a-z]+", " ")
    bad = "|".join(BAD_WORDS)
    return _as_mask(pc.match_substring_regex(plain, rf"(^| )({bad})( |$)"))


def from_floats(column: pa.ChunkedArray) -> Numbers:
    """Take a column that the fast reader could read: nulls are missing, and what stands for nothing."""
    values, told = _without_sentinels(column.to_numpy())
    is_missing = np.isnan(values)
    is_infinite = np.isinf(values)
    if not is_infinite.any():
        return Numbers(values, is_missing, None, told)
    return Numbers(np.where(is_infinite, np.nan, values), is_missing, is_infinite, told)


def _without_sentinels(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], Counter[str]]:
    is_odd = (values <= _LEAST_SENTINEL) | (values >= _GREATEST_NUMBER)
    told: Counter[str] = Counter()
    if not is_odd.any():
        return values, told
    is_sentinel = is_odd & np.isin(values, _SENTINELS)
    for value, count in zip(*np.unique(values[is_sentinel], return_counts=True), strict=True):
        told[f"of {value:g} taken as missing"] = int(count)
    return np.where(is_sentinel, np.nan, values), told


def from_texts(column: pa.ChunkedArray, decimal: str, *, is_status: bool) -> Numbers:
    """Read a column of texts; `is_status` lets words for on and off stand for 1 and 0."""
    words = pc.utf8_lower(pc.utf8_trim_whitespace(column))
    is_missing = _as_mask(pc.is_in(words, value_set=pa.array(MISSING_WORDS)))
    values = _parsed(words, decimal)
    told: Counter[str] = Counter()
    units: set[str] = set()
    rest = np.isnan(values) & ~is_missing
    if is_status:
        for known, value in ((ON_WORDS, 1.0), (OFF_WORDS, 0.0)):
            is_word = _as_mask(pc.is_in(words, value_set=pa.array(known)))
            values[is_word] = value
            is_missing &= ~is_word
            rest &= ~is_word
    if rest.any():
        units = _read_odd(words, decimal, np.flatnonzero(rest), values, is_missing, told)
    was_number = ~np.isnan(values)
    values, sentinels = _without_sentinels(values)
    is_missing |= was_number & np.isnan(values)
    values[np.isinf(values)] = np.nan
    is_refused = np.isnan(values) & ~is_missing
    return Numbers(values, is_missing, is_refused, told + sentinels, frozenset(units))


def plain_numbers(cells: Sequence[str]) -> NDArray[np.float64] | None:
    """Return cells of which each one is a plain number; None where one may be anything else."""
    try:
        values: NDArray[np.float64] = pa.array(cells, type=pa.string()).cast(pa.float64()).to_numpy()
    except pa.ArrowInvalid:
        return None
    is_plain = len(values) > 0 and bool(np.all((values > _LEAST_SENTINEL) & (values < _GREATEST_NUMBER)))
    return values if is_plain else None  # neither what stands for nothing, nor NaN


def _parsed(words: pa.ChunkedArray | pa.Array, decimal: str) -> NDArray[np.float64]:
    """Read plain numbers; NaN where a word is none."""
    plain = words
    if decimal == ",":
        plain = pc.replace_substring(pc.replace_substring(words, ".", "x"), ",", ".")
    is_number = _as_mask(pc.match_substring_regex(plain, _NUMBER))
    values = np.full(len(words), np.nan)
    values[is_number] = plain.filter(pa.array(is_number)).cast(pa.float64()).to_numpy()
    return values


def _read_odd(
    words: pa.ChunkedArray,
    decimal: str,
    places: NDArray[np.intp],
    values: NDArray[np.float64],
    is_missing: NDArray[np.bool_],
    told: Counter[str],
) -> set[str]:
    """Read what is no plain number: marks between thousands, units behind numbers, flags in brackets.

    Returns: the units.
    """
    units: set[str] = set()
    odd = pc.take(words.combine_chunks(), pa.array(places))
    odd = odd.combine_chunks() if isinstance(odd, pa.ChunkedArray) else odd
    odd = pc.replace_substring_regex(odd, r"^[\x{2212}\x{2013}] ?", "-")  # a minus as a printer sets it
    values[places] = _parsed(odd, decimal)
    values[places] = np.where(np.isnan(values[places]), _grouped(odd, decimal, told), values[places])
    flagged = pc.extract_regex(odd, _FLAGGED)
    suffixed = pc.extract_regex(odd, _SUFFIXED)
    for found, part in ((flagged, "flag"), (suffixed, "unit")):
        is_fit = _as_mask(found.is_valid()) & np.isnan(values[places]) & ~is_missing[places]
        if not is_fit.any():
            continue
        some = places[is_fit]
        parts = found.filter(pa.array(is_fit))
        read = _parsed(parts.field("number"), decimal)
        read = np.where(np.isnan(read), _grouped(parts.field("number"), decimal, told), read)
        marks = parts.field(part).to_pylist()
        is_bare = _as_mask(pc.equal(parts.field("number"), ""))
        named = {mark: unit_named(mark) for mark in set(marks)}
        units |= {unit for unit in named.values() if unit is not None}
        is_plain = np.array([named[mark] is not None or mark in _OK_FLAGS for mark in marks], dtype=bool)
        values[some] = np.where(is_plain, read, np.nan)
        if part == "flag":
            # A number in brackets may be a negative one of a bookkeeper: no flag, and no number of ours.
            is_number = ~np.isnan(_parsed(pa.array(marks, type=pa.string()), decimal))
            is_gone = ~is_plain & ~is_number & (is_bare | ~np.isnan(read))
            is_missing[some[is_gone]] = True
            for mark, count in Counter(itertools.compress(marks, is_gone)).items():
                told[f"flagged [{mark[:40]}] taken as missing"] += count
    return units


def _grouped(words: pa.Array, decimal: str, told: Counter[str]) -> NDArray[np.float64]:
    is_grouped = _as_mask(pc.match_substring_regex(words, _GROUPED[decimal]))
    values = np.full(len(words), np.nan)
    if is_grouped.any():
        mark = "." if decimal == "," else ","
        bare = pc.replace_substring_regex(
            pc.replace_substring(words.filter(pa.array(is_grouped)), mark, ""), _SPACES, ""
        )
        values[is_grouped] = _parsed(bare, decimal)
        told["with marks between thousands"] += int(np.count_nonzero(is_grouped))
    return values


def decimal_of(column: pa.ChunkedArray | pa.Array, given: str, *, is_comma_usual: bool) -> str:
    """Return the decimal mark that the numbers of some cells show; where they show none, the given one.

    A mark with three digits after it may stand between thousands: it decides only where a comma is usual.
    """
    words = pc.utf8_trim_whitespace(column)
    commas, points = (_count(words, _SURE[mark]) for mark in (",", "."))
    if commas == points == 0 and is_comma_usual and given != ",":
        commas, points = (_count(words, _MAYBE[mark]) for mark in (",", "."))
    if commas == points:
        return given
    return "," if commas > points else "."


def _count(words: pa.ChunkedArray | pa.Array, pattern: str) -> int:
    return int(pc.sum(pc.match_substring_regex(words, pattern)).as_py() or 0)


def _as_mask(column: pa.ChunkedArray) -> NDArray[np.bool_]:
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=bool)
