"""How site.toml is read: every fault in it at once, each with its line."""

import re
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from config.faults import Fault, FaultySite, faults_of, in_order
from config.secrets import without_password
from config.site import KNOWN_KEYS, Site

FILE: Final = "site.toml"
_CONTEXT: Final = {"is_toml": True}
_MOST_ROUNDS: Final = 4  # keys, then tables, then the whole
_HEADER: Final = re.compile(r"\s*(\[\[?)\s*([\w.\-\" ]+?)\s*\]\]?\s*(#.*)?")
_KEY: Final = re.compile(r"\s*([\w\-]+|\"[^\"]*\")\s*=")
_TOML_PLACE: Final = re.compile(r"\s*\(at line (\d+), column \d+\)$|\s*\(at end of document\)$")


def read_site(folder: Path) -> tuple[Site | None, list[Fault]]:
    """Return the site and every fault of site.toml.

    A faulty key is left at its default in the site returned, so that the other files can be checked against
    the rest; None where too little could be read for that. Raises FaultySite if there is no such file.
    """
    text = _text_of(folder / FILE)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_syntax_fault(str(error), text)]
    try:
        return Site.model_validate(content, context=_CONTEXT), []
    except ValidationError as error:
        faults = faults_of(error, FILE, key_lines(text), KNOWN_KEYS)
        return _what_is_left(content, error), _without_secrets(in_order(faults))


def _what_is_left(content: dict[str, Any], error: ValidationError) -> Site | None:
    sound = deepcopy(content)
    for _ in range(_MOST_ROUNDS):
        for details in error.errors(include_url=False, include_input=False):
            _remove(sound, details["loc"])
        sound.setdefault("name", "unnamed")
        sound.setdefault("timezone", "UTC")
        try:
            return Site.model_validate(sound, context=_CONTEXT)
        except ValidationError as next_error:
            error = next_error
    return None


def _remove(content: dict[str, Any], place: tuple[int | str, ...]) -> None:
    """Remove a faulty key; in a list the whole list, whose other items mean nothing by their position."""
    table = content
    for part in place[:-1]:
        inner = table.get(str(part))
        if not isinstance(inner, dict):
            table.pop(str(part), None)
            return
        table = inner
    if place:
        table.pop(str(place[-1]), None)


def key_lines(text: str) -> dict[tuple[str | int, ...], int]:
    """Return the line on which each key and table of a TOML text stands, as far as lines tell."""
    lines: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.fullmatch(line):
            name = header[2].strip('" ')
            if header[1] == "[[":
                counts[name] = counts.get(name, -1) + 1
                table = (*name.split("."), counts[name])
                lines.setdefault(table[:-1], number)
            else:
                table = tuple(name.split("."))
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, key[1].strip('"')), number)
    return lines


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        if path.parent.is_dir():
            remedy = "write one, or let 'slipledger new-site' write a folder to fill in"
            raise FaultySite([Fault(FILE, None, None, None, f"is not in {path.parent}", remedy)]) from None
        raise FaultySite(
            [Fault(str(path.parent), None, None, None, "is not a folder", "name the site's folder")]
        ) from None
    except UnicodeDecodeError as error:
        remedy = "save it as UTF-8"
        line = error.object[: error.start].count(b"\n") + 1
        raise FaultySite([Fault(FILE, line, None, None, "is not UTF-8 text", remedy)]) from None
    except OSError as error:
        problem = f"cannot be read ({error.strerror})"
        raise FaultySite([Fault(FILE, None, None, None, problem, "make it readable")]) from None


def _syntax_fault(message: str, text: str) -> Fault:
    place = _TOML_PLACE.search(message)
    line = int(place[1]) if place and place[1] else len(text.splitlines()) or 1
    said = _TOML_PLACE.sub("", message)
    remedy = 'a line reads: key = "text" or key = number, tables begin with [name]'
    return Fault(FILE, line, None, None, f"cannot be read as TOML ({said[:1].lower()}{said[1:]})", remedy)


def _without_secret(fault: Fault) -> str | None:
    is_secret = fault.column is not None and fault.column.endswith("secret")
    return None if fault.value is None or is_secret else without_password(fault.value)


def _without_secrets(faults: list[Fault]) -> list[Fault]:
    return [
        Fault(
            fault.file,
            fault.row,
            fault.column,
            _without_secret(fault),
            fault.problem,
            fault.remedy,
        )
        for fault in faults
    ]
