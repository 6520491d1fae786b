"""How site.toml is read: every fault in it at once, each with its line."""

import re
import tomllib
from pathlib import Path
from typing import Final

from config.faults import Fault, FaultySite, faults_between_keys, faults_of, in_order
from config.secrets import without_password
from config.site import KNOWN_KEYS, Site
from config.table import read_table

FILE: Final = "site.toml"
_CONTEXT: Final = {"is_toml": True}
_HEADER: Final = re.compile(r"\s*(\[\[?)\s*([\w.\-\" ]+?)\s*\]\]?\s*(#.*)?")
_KEY: Final = re.compile(r"\s*([\w\-]+|\"[^\"]*\")\s*=")
_TOML_PLACE: Final = re.compile(r"\s*\(at line (\d+), column \d+\)$|\s*\(at end of document\)$")


def read_site(folder: Path) -> tuple[Site, list[Fault]]:
    """Return the site and every fault of site.toml.

    A faulty key is UNREAD in the site returned, so that the rules and the other files can be held against the
    rest. Raises FaultySite if there is no such file.
    """
    text = _text_of(folder / FILE)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return Site.unread(), [_syntax_fault(str(error), text)]
    site, found = read_table(Site, content, _CONTEXT)
    lines = key_lines(text)
    faults = faults_of(found, FILE, lines, KNOWN_KEYS)
    faults += faults_between_keys(site.contradictions(), FILE, lines)
    return site, _without_secrets(in_order(faults))


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
