"""How numbers, dates and declared names are written in a mail."""

from collections.abc import Mapping
from typing import Any

from service import words

Row = Mapping[str, Any]


def interval(row: Row, name: str) -> str:
    """Write a quantity of the ledger with its central 95 %."""
    centre, low, high = (row[f"{name}{end}_pct"] for end in ("", "_low", "_high"))
    return f"{centre:.1f} % (95 %: {low:.1f} to {high:.1f})"


def change(now: float, before: float | None) -> str:
    """Write how a value moved since last week."""
    if before is None:
        return "no value last week to hold it against"
    moved = now - before
    if abs(moved) < 0.05:
        return "unchanged since last week"
    return f"{'up' if moved > 0 else 'down'} {abs(moved):.1f} points since last week"


def sureness(share: float | None) -> str:
    """Write a probability in words that do not claim the last per cent."""
    if share is None:
        return "not weighed"
    return words.sureness(share)
