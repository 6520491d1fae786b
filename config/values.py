"""How the single values of a site's files are read: numbers, words, dates, each with its own refusal."""

import datetime as dt
import math
import re
from collections.abc import Callable
from enum import StrEnum
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BeforeValidator, ValidationInfo

from analytics.vocabulary import PressureLocation
from config.faults import advice, fault_in_value

Word = TypeVar("Word", bound=StrEnum)
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")


def read_number(given: Any, info: ValidationInfo) -> float:
    """Read a plain number; a decimal comma only in a sheet whose columns are not parted by commas."""
    if isinstance(given, bool):
        raise fault_in_value("is not a number", "write a plain number")
    if isinstance(given, int | float):
        number = float(given)
    else:
        text = str(given)
        context = info.context or {}
        if context.get("is_decimal_comma_allowed") and _DECIMAL_COMMA.fullmatch(text):
            text = text.replace(",", ".")
        if context.get("is_toml"):
            raise fault_in_value("is not a number", "write the number without quotation marks")
        number = _plain_number(text)
    if not math.isfinite(number):
        raise fault_in_value("is not a finite number", "leave it blank where it is not known")
    return number


def _plain_number(text: str) -> float:
    if _NUMBER.fullmatch(text):
        return float(text)
    remedy = "write a plain number, without a unit"
    if "," in text:
        remedy = "write the decimals after a point and leave out thousands separators"
    raise fault_in_value("is not a number", remedy)


def within(low: float, high: float, remedy: str) -> AfterValidator:
    """Return the check that a number lies between two bounds, both allowed."""
    return AfterValidator(_between(low, high, remedy, is_low_open=False))


def above(low: float, high: float, remedy: str) -> AfterValidator:
    """Return the check that a number lies above one bound and up to another."""
    return AfterValidator(_between(low, high, remedy, is_low_open=True))


def _between(low: float, high: float, remedy: str, *, is_low_open: bool) -> Callable[[float], float]:

    def check(number: float) -> float:
        if number < low or number > high or (is_low_open and number == low):
            bound = f"above {low:g} and at most {high:g}" if is_low_open else f"from {low:g} to {high:g}"
            raise fault_in_value(f"is out of range ({bound})", remedy)
        return number

    return check


def read_whole(number: float) -> int:
    """Read a count."""
    if number != int(number):
        raise fault_in_value("is not a whole number", "write a whole number")
    return int(number)


def read_date(given: Any) -> dt.date:
    """Read a date as YYYY-MM-DD and in no other way, so that no day is taken for a month."""
    if isinstance(given, dt.date) and not isinstance(given, dt.datetime):
        return given
    if isinstance(given, str) and _ISO_DATE.fullmatch(given):
        try:
            return dt.date.fromisoformat(given)
        except ValueError:
            raise fault_in_value("is no day of the calendar", "correct the date") from None
    raise fault_in_value("is not a date", "write it as YYYY-MM-DD, for example 2025-02-03")


def read_clock(given: Any) -> dt.time:
    """Read a wall-clock time as HH:MM."""
    if isinstance(given, str) and _CLOCK.fullmatch(given):
        try:
            return dt.time.fromisoformat(given.rjust(8 if given.count(":") == 2 else 5, "0"))
        except ValueError:
            pass
    raise fault_in_value("is not a time of day", "write it as HH:MM, for example 09:30")


def read_yes_no(given: Any) -> bool:
    """Read yes or no."""
    if given in ("yes", "no"):
        return bool(given == "yes")
    raise fault_in_value("is neither yes nor no", "write yes or no")


def word_reader(words: type[Word]) -> Callable[[Any], Word]:
    """Return a reader of one of the trade's words, which are not guessed from synonyms."""

    def read(given: Any) -> Word:
        if isinstance(given, words):
            return given
        for word in words:
            if given == word.value:
                return word
        raise fault_in_value("is not a known word", advice(str(given), [word.value for word in words]))

    return read


def choice_reader(choices: tuple[str, ...]) -> Callable[[Any], str]:
    """Return a reader of one of a few names."""

    def read(given: Any) -> str:
        if isinstance(given, str) and given in choices:
            return given
        raise fault_in_value("is not a known name", advice(str(given), choices))

    return read


def read_text(given: Any) -> str:
    """Read text that is not empty."""
    if not isinstance(given, str):
        raise fault_in_value("is not text", "write it in quotation marks")
    if not given.strip():
        raise fault_in_value("is empty", "write it out, or leave the line out")
    return given.strip()


Number = Annotated[float, BeforeValidator(read_number)]
Whole = Annotated[int, BeforeValidator(read_whole), BeforeValidator(read_number)]  # number first, then whole
Date = Annotated[dt.date, BeforeValidator(read_date)]
Clock = Annotated[dt.time, BeforeValidator(read_clock)]
YesNo = Annotated[bool, BeforeValidator(read_yes_no)]
Text = Annotated[str, BeforeValidator(read_text)]


_read_location_word = word_reader(PressureLocation)


def read_pressure_location(given: Any) -> PressureLocation:
    """Read where a pressure is measured; `fan_rise` is the other word for `across_fan`."""
    return PressureLocation.ACROSS_FAN if given == "fan_rise" else _read_location_word(given)
