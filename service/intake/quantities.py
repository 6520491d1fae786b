"""Units that exports write in their headers and cells: told apart from the names and numbers before them."""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Final

# What a unit may look like, in lower case without spaces and dots, and the site's word for it.
_SPELLINGS: Final[Mapping[str, str]] = {
    spelling: unit
    for unit, spellings in {
        "A": ("a", "amp", "amps", "ampere", "amperes"),
        "kW": ("kw", "kilowatt", "kilowatts"),
        "W": ("w", "watt", "watts"),
        "hp": ("hp", "bhp", "horsepower"),
        "cfm": ("cfm", "ft3/min", "ft^3/min", "cuft/min"),
        "m3/s": ("m3/s", "m^3/s", "cms"),
        "m3/h": ("m3/h", "m^3/h", "m3/hr", "m3h", "cmh"),
        "L/s": ("l/s", "lps", "litre/s", "liter/s"),
        "inwg": ("inwg", "inwc", "inh2o", "inw", "iwc", "iwg", '"wc', '"wg', '"h2o', "in-wc", "in-wg"),
        "Pa": ("pa", "pascal", "pascals"),
        "kPa": ("kpa",),
        "degF": ("degf", "f", "deg-f", "fahrenheit"),
        "degC": ("degc", "c", "deg-c", "celsius"),
        "percent": ("%", "percent", "pct"),
        "fraction": ("fraction",),
        "Hz": ("hz", "hertz"),
        "rpm": ("rpm", "r/min", "1/min", "min-1", "rev/min"),
        "hPa": ("hpa", "mbar"),
        "inHg": ("inhg",),
        "psi": ("psi",),
        "V": ("v", "volt", "volts"),
        "kWh": ("kwh",),
        "K": ("k", "kelvin"),
        "%RH": ("%rh", "rh"),
        "ppm": ("ppm",),
        "state": ("on/off", "0/1", "bool", "binary"),
    }.items()
    for spelling in spellings
}
_BRACKETED: Final = re.compile(r"(.*\S)\s*[\[({]\s*([^\[\](){}]+?)\s*[\])}]")
_PARTED: Final = re.compile(r"[\s_,;:\])}]")
# A name that still says what it measures without the unit word at its end.
_QUANTITY: Final = re.compile(
    r"flow|volume|press|static|\bdp\b|power|current|speed|freq|temp|torque|\b[smrdo]at\b", re.IGNORECASE
)
_BLANK_UNITS: Final = ("", "-", "--", "n/a", "none")


def unit_named(text: str) -> str | None:
    """Return the site's word for a unit as it is written, None where it is none that is known."""
    plain = text.strip().strip("[](){}").casefold()
    for written, meant in (("³", "3"), ("²", "2"), ("°", "deg"), ("º", "deg"), ("″", '"'), ("''", '"')):
        plain = plain.replace(written, meant)
    return _SPELLINGS.get(re.sub(r"[\s.]+", "", plain))


@lru_cache(maxsize=1 << 14)
def split_unit(name: str) -> tuple[str, str | None]:
    """Return a name without the unit at its end, in brackets or as a last word, and that unit."""
    if _PARTED.search(name) is None:
        return name, None
    found = _BRACKETED.fullmatch(name)
    if found is not None:
        unit = unit_named(found[2])
        return (found[1], unit) if unit is not None else (name, None)
    # A lone letter at the end of a name is a letter: fan A, zone C.
    for place in (found.start() for found in re.finditer(r"[\s_,;:]+\S", name)):
        tail = name[place:].strip(" \t_,;:-")
        unit = unit_named(tail) if len(tail) > 1 or tail == "%" else None
        base = name[:place].rstrip(" \t_,;:-")
        if unit is not None and base:
            return base, unit
    return name, None


def is_bracketed(name: str) -> bool:
    """Tell whether a name ends in brackets."""
    return _BRACKETED.fullmatch(name) is not None


def says_its_quantity(name: str) -> bool:
    """Tell whether a name says what it measures, so that a unit behind it is not part of the name."""
    return _QUANTITY.search(name) is not None


def are_units(cells: Iterable[str]) -> bool:
    """Tell whether cells say units and nothing else, and at least one of them does."""
    filled = [cell for cell in cells if cell.strip().casefold() not in _BLANK_UNITS]
    return bool(filled) and all(unit_named(cell) is not None for cell in filled)
