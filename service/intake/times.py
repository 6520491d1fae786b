"""What the text of a time cell says: a wall-clock time, an instant, or nothing that can be read."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import IntEnum
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from service.intake.zones import SECOND_US, Mask, Times

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK: Final = (
    r"(?:[T ,]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,:](?P<fraction>\d{1,9}))?)?"
    r"\s*(?P<half>[AaPp])?(?:\.?\s?[Mm]\.?)?)?\s*(?P<offset>[Zz]|UTC|GMT|[+-]\d{2}:?(?:\d{2})?)?$"
)
_WEEKDAY: Final = r"^(?:(?:[Mm]on|[Tt]ue|[Ww]ed|[Tt]hu|[Ff]ri|[Ss]at|[Ss]un)[a-z]*[,.]?\s+)?"
_NUMERIC: Final = _WEEKDAY + r"(?P<a>\d{1,4})(?P<mark>[-/.])(?P<b>\d{1,2})[-/.](?P<c>\d{1,4})\.?" + _CLOCK
_DAY_NAME: Final = _WEEKDAY + r"(?P<a>\d{1,2})\.?[- /]?(?P<b>[A-Za-z]{3,9})[.,]?[- /]?(?P<c>\d{2,4})" + _CLOCK
_NAME_DAY: Final = _WEEKDAY + r"(?P<b>[A-Za-z]{3,9})\.?[- /](?P<a>\d{1,2}),?[- /](?P<c>\d{2,4})" + _CLOCK
_COMPACT: Final = (
    r"^(?P<a>(?:19|20|21)\d{2})(?P<mark>)(?P<b>\d{2})(?P<c>\d{2})(?:[T _-]?(?P<hour>\d{2}):?(?P<minute>\d{2})"
    r"(?::?(?P<second>\d{2})(?:[.,](?P<fraction>\d{1,9}))?)?)?(?P<half>)"
    r"(?P<offset>[Zz]|[+-]\d{2}:?(?:\d{2})?)?$"
)
# Since 1970: whole seconds, or thousandths, millionths or billionths of them, from 2001 to 2286.
_EPOCH: Final = (
    r"^(?P<whole>[1-9]\d{9})(?P<milli>\d{3})?(?P<micro>\d{3})?(?P<nano>\d{3})?(?:\.(?P<fraction>\d{1,9}))?$"
)
# Weekday, month and day before the clock, the year behind it; and a clock with points.
_YEAR_LAST: Final = (
    r"^(?:[A-Za-z]{3,9},? +)?([A-Za-z]{3,9}) +(\d{1,2}),? +(\d{1,2}:\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?)"
    r"( +(?:[A-Z]{1,5}|[+-]\d{2}:?\d{2}))? +(\d{4})$"
)
_POINTED_CLOCK: Final = r"^(\d{1,2}\.\d{1,2}\.\d{2,4},? +\d{1,2})\.(\d{2})(?:\.(\d{2}))?$"
_EPOCH_UNITS: Final = {10: "seconds", 13: "milliseconds", 16: "microseconds", 19: "nanoseconds"}
EPOCH_FORMATS: Final = ("epoch", "epoch_ms")
_ALL: Final = np.empty(0, dtype=np.intp)  # the places are put in once the distinct cells are read
_FIRST_YEAR, _LAST_YEAR = 1900, 2199
_UNTOLD: Final = "day or month first: not told"
_DAY_US: Final = 86_400 * SECOND_US
_FEW_STEPS: Final = 4  # within a day that show an interval
_FIRST_US, _END_US = (
    int(np.datetime64(f"{year}-01-01", "us").astype(np.int64)) for year in (_FIRST_YEAR, _LAST_YEAR + 1)
)


class Refusal(IntEnum):
    """Why a time could not be read."""

    NONE = 0
    BLANK = 1
    NO_TIME = 2
    NO_SUCH_DATE = 3
    AMBIGUOUS = 4
    SKIPPED = 5
    REPEATED = 6

    @property
    def reason(self) -> str:
        """Say it."""
        return _REASONS[self]


_REASONS: Final = {
    Refusal.NONE: "",
    Refusal.BLANK: "no time",
    Refusal.NO_TIME: "not a time",
    Refusal.NO_SUCH_DATE: "no such date or time of day",
    Refusal.AMBIGUOUS: (
        "ambiguous: the file does not say whether the day or the month comes first; write its time_format "
        "under [[sources]] in site.toml"
    ),
    Refusal.SKIPPED: "the clocks skipped this time that night",
    Refusal.REPEATED: "ambiguous: the clocks passed this time twice, and the file's order does not say which",
}


@dataclass(frozen=True, slots=True)
class ReadTimes:
    """Distinct cells of a time column read: wall-clock time, or an instant where the cell has its offset."""

    times_us: Times
    is_instant: Mask
    refusal: NDArray[np.int8]
    decided: str
    place: NDArray[np.integer[Any]]  # of each row's cell among the distinct ones


def read_times(
    texts: pa.ChunkedArray | pa.Array,
    time_format: str | None,
    abbreviations: Mapping[str, int] = MappingProxyType({}),
) -> ReadTimes:
    """Read a whole column; day and month are told apart over all of it.

    Parameters: `abbreviations`, the zone's own short names of its times with their offsets [us].
    """
    encoded = encoded_texts(texts)
    known = _read_distinct(pc.utf8_trim_whitespace(encoded.dictionary), time_format, abbreviations)
    return replace(known, place=encoded.indices.to_numpy(zero_copy_only=False))


def encoded_texts(texts: pa.ChunkedArray | pa.Array) -> pa.DictionaryArray:
    """Return a column of texts in one piece, each distinct one once."""
    encoded = texts if pa.types.is_dictionary(texts.type) else texts.dictionary_encode()
    if isinstance(encoded, pa.ChunkedArray) and encoded.num_chunks != 1:
        encoded = encoded.unify_dictionaries().combine_chunks()
    return encoded.chunk(0) if isinstance(encoded, pa.ChunkedArray) else encoded


def _read_distinct(texts: pa.Array, time_format: str | None, abbreviations: Mapping[str, int]) -> ReadTimes:
    if time_format in EPOCH_FORMATS:
        return _by_parts(texts, is_epoch=True)
    if time_format is not None:
        return _by_format(texts, time_format)
    for kind, decided in (
        (pa.timestamp("us"), "ISO 8601"),
        (pa.timestamp("us", "UTC"), "ISO 8601 with offset"),
    ):
        try:
            times = texts.cast(kind).cast(pa.int64()).to_numpy()
        except pa.ArrowInvalid:
            continue
        is_instant = np.full(len(times), kind.tz is not None)
        is_year = (times >= _FIRST_US) & (times < _END_US)
        refusal = np.where(is_year, Refusal.NONE, Refusal.NO_SUCH_DATE).astype(np.int8)
        return ReadTimes(np.where(is_year, times, 0), is_instant, refusal, decided, _ALL)
    return _by_parts(_with_plain_offsets(texts, abbreviations))


_ZONE_BEHIND: Final = r"([+-]\d{2}:?\d{2}|Z)\s*(?:\[[A-Za-z0-9_/+-]+\]|[A-Z][A-Za-z]+(?:[_/][A-Za-z]+)*)$"


def _with_plain_offsets(texts: pa.Array, abbreviations: Mapping[str, int]) -> pa.Array:
    """Write odd blanks as blanks, and what names a zone at the end of a time as its offset."""
    plain = pc.replace_substring_regex(texts, r"[\x{a0}\x{2009}\x{202f}]", " ")
    plain = pc.replace_substring_regex(plain, _YEAR_LAST, r"\2 \1 \5 \3\4")
    plain = pc.replace_substring_regex(plain, _POINTED_CLOCK, r"\1:\2:\3")
    plain = pc.replace_substring_regex(plain, r"(:\d{2}):$", r"\1")
    plain = pc.replace_substring_regex(plain, _ZONE_BEHIND, r"\1")
    for name, offset_us in abbreviations.items():
        minutes = abs(offset_us) // (60 * SECOND_US)
        offset = f"{'-' if offset_us < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"
        plain = pc.replace_substring_regex(
            plain, rf"(:\d{{2}}(?:[.,]\d+)?(?: ?[AaPp]\.?[Mm]\.?)?) ?{name}$", rf"\1{offset}"
        )
    return plain


def _by_format(texts: pa.Array, time_format: str) -> ReadTimes:
    words = texts.to_pandas()
    parsed = pd.to_datetime(words, format=time_format, errors="coerce", utc="%z" in time_format)
    is_read = parsed.notna().to_numpy()
    times = parsed.dt.tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64)
    refusal = np.where(is_read, Refusal.NONE, np.where(words == "", Refusal.BLANK, Refusal.NO_TIME))
    return ReadTimes(
        np.where(is_read, times, 0),
        np.full(len(times), "%z" in time_format),
        refusal.astype(np.int8),
        f"time format {time_format}",
        _ALL,
    )


@dataclass(slots=True)
class _Parts:
    """The parts of the cells that one shape of time fits."""

    place: NDArray[np.intp]
    year: Times
    month: Times
    day: Times
    clock_us: Times  # since midnight; -1 where there is no such time of day
    offset_us: Times
    has_offset: Mask
    is_undecided: Mask  # day and month not told apart by the cell itself
    notes: set[str]


def _by_parts(texts: pa.Array, *, is_epoch: bool = False) -> ReadTimes:
    count = len(texts)
    result = ReadTimes(
        np.zeros(count, np.int64), np.zeros(count, bool), np.full(count, Refusal.NO_TIME, np.int8), "", _ALL
    )
    result.refusal[np.asarray(pc.equal(texts, ""), dtype=bool)] = Refusal.BLANK
    rest = np.flatnonzero(result.refusal == Refusal.NO_TIME)
    notes: set[str] = set()
    rest = _enter_epochs(texts, rest, result, notes)
    for shape in () if is_epoch else (_NUMERIC, _COMPACT, _DAY_NAME, _NAME_DAY):
        fitted = pc.extract_regex(texts.take(pa.array(rest)), shape)
        is_fit = np.asarray(fitted.is_valid(), dtype=bool)
        if not is_fit.any():
            continue
        parts = _parts(
            fitted.filter(pa.array(is_fit)), rest[is_fit], is_numeric=shape in (_NUMERIC, _COMPACT)
        )
        _enter(parts, result)
        notes |= parts.notes
        rest = rest[~is_fit]
    return replace(result, decided=", ".join(sorted(notes)) or "no time")


def _enter_epochs(
    texts: pa.Array, rest: NDArray[np.intp], result: ReadTimes, notes: set[str]
) -> NDArray[np.intp]:
    """Enter counts of seconds or milliseconds since 1970; return the places of the other cells."""
    fitted = pc.extract_regex(texts.take(pa.array(rest)), _EPOCH)
    is_fit = np.asarray(fitted.is_valid(), dtype=bool)
    if not is_fit.any():
        return rest
    parts = fitted.filter(pa.array(is_fit))
    named = [parts.field(name) for name in ("whole", "milli", "micro", "nano")]
    digits = np.asarray(pc.utf8_length(pc.binary_join_element_wise(*named, "")), dtype=np.int64)
    fraction = _integers(pc.utf8_slice_codeunits(pc.utf8_rpad(parts.field("fraction"), 6, "0"), 0, 6))
    times = _integers(parts.field("whole")) * SECOND_US
    times = times + _integers(parts.field("milli")) * 1000 + _integers(parts.field("micro"))
    places = rest[is_fit]
    result.times_us[places] = times + fraction // 10 ** np.minimum(digits - 10, 6)
    result.is_instant[places] = True
    result.refusal[places] = Refusal.NONE
    notes |= {f"epoch {_EPOCH_UNITS[count]}" for count in np.unique(digits).tolist()}
    others: NDArray[np.intp] = rest[~is_fit]
    return others


def _parts(fitted: pa.StructArray, place: NDArray[np.intp], *, is_numeric: bool) -> _Parts:
    hour, notes = _hours(fitted)
    minute, second = _integers(fitted.field("minute")), _integers(fitted.field("second"))
    fraction = pc.utf8_rpad(fitted.field("fraction"), 6, "0")
    micro = _integers(pc.utf8_slice_codeunits(fraction, 0, 6))
    clock = ((hour * 60 + minute) * 60 + second) * SECOND_US + micro
    is_clock = (hour >= 0) & (hour <= 24) & (minute < 60) & (second < 60) & (clock <= 24 * 3600 * SECOND_US)
    a, c = _integers(fitted.field("a")), _integers(fitted.field("c"))
    is_undecided = np.zeros(len(place), dtype=bool)
    if is_numeric:
        b = _integers(fitted.field("b"))
        is_year_first = np.asarray(pc.equal(pc.utf8_length(fitted.field("a")), 4), dtype=bool)
        day, month, is_undecided, told = _day_and_month(a, b, is_year_first)
        if told == {_UNTOLD}:
            is_day_first = _is_day_first_by_order(a, b, c, clock)
            if is_day_first is not None:
                day, month = (a, b) if is_day_first else (b, a)
                told = {f"{'day' if is_day_first else 'month'} first, as the rows run on over midnight"}
                is_undecided = np.zeros(len(a), dtype=bool)
        if _are_short_years_first(fitted, a, b, c):
            is_year_first, told = np.ones(len(a), dtype=bool), {"year first"}
            is_undecided = np.zeros(len(a), dtype=bool)
        elif _may_be_short_years_first(fitted, a, b, c):
            is_undecided, told = np.ones(len(a), dtype=bool), {"year or day first: not told"}
        year = np.where(is_year_first, a, c)
        day, month = np.where(is_year_first, c, day), np.where(is_year_first, b, month)
        notes |= told
    else:
        day, month, year = a, _named_months(fitted.field("b")), c
        notes.add("month by name")
    year = np.where(year < 70, year + 2000, np.where(year < 100, year + 1900, year))
    offset, has_offset = _offsets(fitted.field("offset"))
    if has_offset.any():
        notes.add("with offset")
    return _Parts(
        place, year, month, day, np.where(is_clock, clock, -1), offset, has_offset, is_undecided, notes
    )


def _day_and_month(a: Times, b: Times, is_year_first: Mask) -> tuple[Times, Times, Mask, set[str]]:
    """Tell day and month apart over the whole file: one number above twelve in one place decides for all."""
    open_ = ~is_year_first
    is_day_first = bool(np.any(open_ & (a > 12)))
    is_month_first = bool(np.any(open_ & (b > 12)))
    undecided = np.zeros(len(a), dtype=bool)
    if is_day_first and not is_month_first:
        return a, b, undecided, {"day first"}
    if is_month_first and not is_day_first:
        return b, a, undecided, {"month first"}
    if not open_.any():
        return a, b, undecided, {"year first"}
    # Nothing or both: a date that reads the same either way, or that has no second reading, still stands.
    undecided = open_ & (a <= 12) & (b <= 12) & (a != b)
    day, month = np.where(a > 12, a, b), np.where(a > 12, b, a)
    note = "day first and month first mixed" if is_day_first else _UNTOLD
    return day, month, undecided, {note} if undecided.any() else {"day and month alike"}


def _is_day_first_by_order(a: Times, b: Times, c: Times, clock_us: Times) -> bool | None:
    """Tell day and month apart where one reading runs on over midnight and the other jumps by a month.

    Parameters: `a`, `b`, `c` of dates, `clock_us` since midnight, of distinct cells in the order of the rows.
    """
    is_same_date = (np.diff(a) == 0) & (np.diff(b) == 0) & (np.diff(c) == 0)
    inside = np.abs(np.diff(clock_us))[is_same_date]
    if len(inside) < _FEW_STEPS or is_same_date.all():
        return None
    runs_on = []
    for day, month in ((a, b), (b, a)):
        steps = np.abs(np.diff(((c * 12 + month) * 31 + day) * _DAY_US + clock_us))
        runs_on.append(bool(np.all(steps[~is_same_date] <= 2 * np.median(inside))))
    return runs_on[0] if runs_on[0] != runs_on[1] else None


def _are_short_years_first(fitted: pa.StructArray, a: Times, b: Times, c: Times) -> bool:
    """Tell whether dates such as 25-03-01 begin with the year: the last number takes on more values."""
    if not _could_be_short_years_first(fitted, b, c):
        return False
    return bool(np.any(a > 31)) or len(np.unique(c)) > len(np.unique(a))


def _may_be_short_years_first(fitted: pa.StructArray, a: Times, b: Times, c: Times) -> bool:
    """Tell whether the file leaves open which end the year stands at: a date with dashes, always the same."""
    has_dashes = bool(pc.all(pc.match_substring(fitted.field("mark"), "-")).as_py())
    is_open = len(np.unique(c)) == len(np.unique(a)) and not np.any(c > 31)
    return has_dashes and is_open and _could_be_short_years_first(fitted, b, c)


def _could_be_short_years_first(fitted: pa.StructArray, b: Times, c: Times) -> bool:
    is_padded = all(bool(pc.all(pc.equal(pc.utf8_length(fitted.field(part)), 2)).as_py()) for part in "abc")
    return is_padded and bool(np.all((b >= 1) & (b <= 12) & (c >= 1) & (c <= 31)))


def _hours(fitted: pa.StructArray) -> tuple[Times, set[str]]:
    hour = _integers(fitted.field("hour"))
    half = pc.utf8_lower(fitted.field("half"))
    is_pm, is_am = (np.asarray(pc.equal(half, letter), dtype=bool) for letter in ("p", "a"))
    is_half = is_pm | is_am
    if not is_half.any():
        return hour, set()
    is_wrong = is_half & ((hour < 1) | (hour > 12))
    hour = np.where(is_half, hour % 12 + np.where(is_pm, 12, 0), hour)
    return np.where(is_wrong, -1, hour), {"12-hour clock"}


def _offsets(texts: pa.Array) -> tuple[Times, Mask]:
    digits = pc.replace_substring_regex(texts, r"[^0-9]", "")
    padded = pc.utf8_rpad(digits, 4, "0")
    hours = _integers(pc.utf8_slice_codeunits(padded, 0, 2))
    minutes = _integers(pc.utf8_slice_codeunits(padded, 2, 4))
    sign = np.where(np.asarray(pc.starts_with(texts, "-"), dtype=bool), -1, 1)
    has_offset = np.asarray(pc.greater(pc.utf8_length(texts), 0), dtype=bool)
    return sign * (hours * 60 + minutes) * 60 * SECOND_US, has_offset


def _enter(parts: _Parts, result: ReadTimes) -> None:
    is_year = (parts.year >= _FIRST_YEAR) & (parts.year <= _LAST_YEAR)
    is_month = (parts.month >= 1) & (parts.month <= 12)
    month_index = (np.where(is_year, parts.year, 1970) - 1970) * 12 + np.where(is_month, parts.month, 1) - 1
    months = month_index.astype("datetime64[M]")
    days_in_month = ((months + 1).astype("datetime64[D]") - months.astype("datetime64[D]")).astype(np.int64)
    is_day = (parts.day >= 1) & (parts.day <= days_in_month)
    is_date = is_year & is_month & is_day & (parts.clock_us >= 0)
    midnight = months.astype("datetime64[us]").astype(np.int64) + (parts.day - 1) * 86_400 * SECOND_US
    times = midnight + parts.clock_us - np.where(parts.has_offset, parts.offset_us, 0)
    refusal = np.where(
        parts.is_undecided, Refusal.AMBIGUOUS, np.where(is_date, Refusal.NONE, Refusal.NO_SUCH_DATE)
    )
    result.times_us[parts.place] = np.where(refusal == Refusal.NONE, times, 0)
    result.is_instant[parts.place] = parts.has_offset
    result.refusal[parts.place] = refusal


def _integers(texts: pa.Array) -> Times:
    """Read digits; a part that is not there is 0."""
    filled = pc.if_else(pc.greater(pc.utf8_length(texts), 0), texts, "0")
    return np.asarray(filled.cast(pa.int64()).to_numpy(zero_copy_only=False), dtype=np.int64)


def _named_months(texts: pa.Array) -> Times:
    short = pc.utf8_slice_codeunits(pc.utf8_lower(texts), 0, 3)
    places = pc.index_in(short, value_set=pa.array(_MONTHS))
    return np.asarray(pc.fill_null(places, -1).to_numpy(zero_copy_only=False), dtype=np.int64) + 1
