"""What each cause alone would have done to the latest judged day's readings, beside what was seen."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from service.assess.reasons import why
from service.web.desk import Desk
from service.words import CAUSE_WORDS

_MOST_LINES: Final = 8


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """One cause at the size that fits the day best; pressure, load and command in per cent."""

    words: str
    what: str
    size_pct: float
    pressure_pct: float
    load_pct: float
    command_pct: float
    misfit: float


@dataclass(frozen=True, slots=True)
class EvidenceTable:
    """A day's readings against the healthy fan, and what each cause would look like, the best fit first."""

    date: dt.date
    pressure_pct: float
    load_pct: float
    hours: int
    rows: tuple[EvidenceRow, ...]


def evidence_table(desk: Desk, fan: str, date: dt.date) -> EvidenceTable | None:
    """Hold each cause against a judged day; None where it has no hours in the fitted range."""
    told = why(desk.site, desk.store, fan, date)
    if told.seen is None:
        return None
    rows = tuple(
        EvidenceRow(
            CAUSE_WORDS[line.cause],
            line.parameter.replace("_", " "),
            line.size_pct,
            line.pressure_pct,
            line.load_pct,
            line.command_pct,
            line.misfit,
        )
        for line in told.lines[:_MOST_LINES]
    )
    return EvidenceTable(date, told.seen.pressure_pct, told.seen.load_pct, told.seen.hours, rows)
