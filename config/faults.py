"""What is wrong in a site's files, said so that it can be put right."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic_core import ErrorDetails, PydanticCustomError

_FAULT = "fault"
_LONGEST_VALUE = 80
_LONGEST_LIST = 24
_TABLE = ("is not a table", "write it as a [{name}] table with its keys below")
_LIST = ("is not a list", "write it in square brackets")
_PLAIN_WORDS = {
    "missing": ("is not given", "add {name}"),
    "model_type": _TABLE,
    "dict_type": _TABLE,
    "list_type": _LIST,
    "tuple_type": _LIST,
    "string_type": ("is not text", "write it in quotation marks"),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to put right: where it stands, what was read there, and what to do."""

    file: str
    row: int | None
    column: str | None
    value: str | None
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", line {self.row}"
        if self.column:
            place += f", {self.column}"
        value = "" if self.value is None else f"{_shortened(self.value)!r} "
        end = "" if self.remedy.endswith("?") else "."
        return f"{place}: {value}{self.problem}; {self.remedy}{end}"


class FaultySite(Exception):  # noqa: N818 - named for what it says to the reader of a traceback
    """The site's files have faults; nothing was done with them."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def in_order(faults: Iterable[Fault]) -> list[Fault]:
    """Return the faults of one file from its top to its bottom."""
    return sorted(faults, key=lambda fault: fault.row or 0)


def fault_in_value(problem: str, remedy: str) -> PydanticCustomError:
    """Return the error a validator raises for a value that reads but cannot be right."""
    return PydanticCustomError(_FAULT, "{problem}; {remedy}", {"problem": problem, "remedy": remedy})


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like this one, if any is like it at all."""
    by_folded = {candidate.casefold(): candidate for candidate in known}
    close = get_close_matches(word.strip().casefold().replace(" ", "_").replace("-", "_"), by_folded, n=1)
    close = close or get_close_matches(word.strip().casefold(), by_folded, n=1, cutoff=0.5)
    return by_folded[close[0]] if close else None


def advice(word: str, known: Iterable[str], otherwise: str = "leave it out") -> str:
    """Say what to write instead of an unknown word."""
    choices = tuple(choice for choice in known if choice)
    if not choices:
        return otherwise
    close = nearest(word, choices)
    if close is not None:
        return f"did you mean {close}?" if len(choices) > _LONGEST_LIST else _choice(choices, close)
    return otherwise if len(choices) > _LONGEST_LIST else _choice(choices, None)


def faults_of(
    found: Iterable[ErrorDetails],
    file: str,
    rows: Mapping[tuple[str | int, ...], int] | int | None,
    known: Mapping[tuple[str, ...], tuple[str, ...]],
) -> list[Fault]:
    """Translate a model's refusals, with the line of each key and the known names of each table."""
    return [_fault(details, file, rows, known) for details in found]


def faults_between_keys(
    found: Iterable[tuple[tuple[str | int, ...], tuple[str, str]]],
    file: str,
    rows: Mapping[tuple[str | int, ...], int],
) -> list[Fault]:
    """Translate what tables contradict themselves in: a problem and a remedy at the place of each table."""
    return [
        Fault(file, _line_of(place, rows), _column_of(place), None, problem, remedy)
        for place, (problem, remedy) in found
    ]


def _fault(
    details: ErrorDetails,
    file: str,
    rows: Mapping[tuple[str | int, ...], int] | int | None,
    known: Mapping[tuple[str, ...], tuple[str, ...]],
) -> Fault:
    place = details["loc"]
    row = rows if isinstance(rows, int) or rows is None else _line_of(place, rows)
    given = details["input"]
    value = str(given) if isinstance(given, str | int | float | dt.date) else None
    problem, remedy = _words(details, place, known)
    if details["type"] in ("missing", "extra_forbidden"):
        value = None
    return Fault(file, row, _column_of(place), value, problem, remedy)


def _words(
    details: ErrorDetails,
    place: tuple[int | str, ...],
    known: Mapping[tuple[str, ...], tuple[str, ...]],
) -> tuple[str, str]:
    kind = details["type"]
    if kind == _FAULT:
        context: dict[str, Any] = details["ctx"]
        return context["problem"], context["remedy"]
    if kind == "extra_forbidden":
        table = tuple(part for part in place[:-1] if isinstance(part, str))
        return "is not a known key", advice(str(place[-1]), known.get(table, ()))
    if kind in ("list_type", "tuple_type") and isinstance(details["input"], dict):
        return "is one table", f"write [[{place[-1]}]] with two brackets, once for each"
    if kind in _PLAIN_WORDS:
        problem, remedy = _PLAIN_WORDS[kind]
        return problem, remedy.format(name=place[-1] if place else "")
    message = str(details["msg"])
    return "is not usable", message[:1].lower() + message[1:]


def _column_of(place: tuple[int | str, ...]) -> str | None:
    return ".".join(part if isinstance(part, str) else str(part + 1) for part in place) or None


def _line_of(place: tuple[int | str, ...], rows: Mapping[tuple[str | int, ...], int]) -> int | None:
    for length in range(len(place), 0, -1):
        if place[:length] in rows:
            return rows[place[:length]]
    return None


def _choice(choices: tuple[str, ...], close: str | None) -> str:
    listed = ", ".join(choices)
    return f"did you mean {close}? It is one of {listed}" if close else f"use one of {listed}"


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."
