"""What is written down at a fan: the columns of the round's sheet, as found and as left."""

from dataclasses import dataclass
from typing import Final

FOUND: Final = "found"
LEFT: Final = "left"


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to write down: the end of its column's name, its words with the unit, whether belts only."""

    name: str
    words: str
    is_of_belts: bool = False


READINGS: Final = (
    Field("time", "time"),
    Field("command", "command"),
    Field("motor_rpm", "motor rpm"),
    Field("wheel_rpm", "wheel rpm"),
    Field("amps", "amps, by phase"),
    Field("no_load_a", "amps, belts off", is_of_belts=True),
    Field("force", "force a belt", is_of_belts=True),
    Field("deflection", "deflection", is_of_belts=True),
)
CHECKS: Final = (
    Field("guard_refitted", "guard refitted"),
    Field("rotation_seen", "rotation seen"),
    Field("auto_restored", "automatic restored"),
)
# What is printed in the sheet's columns before those to fill in.
PRINTED: Final = (
    "fan",
    "building",
    "where",
    "way_there",
    "tell_first",
    "standing",
    "look_for",
    "due",
    "check_figure",
    "tight_rpm",
    "parts",
    "alignment",
    "belt_tension",
    "bearings",
)
FILLED: Final = (
    "date",
    "by",
    *(f"{FOUND}_{field.name}" for field in READINGS),
    "work",
    *(f"{LEFT}_{field.name}" for field in READINGS),
    *(field.name for field in CHECKS),
    "recheck_on",
    "note",
)
COLUMNS: Final = (*PRINTED, *FILLED)
# A spreadsheet would take a text that begins with one of these for a formula; an apostrophe stands before it.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def shielded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def unshielded(text: str) -> str:
    """Return a text as it was before it was shielded."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA) else text
