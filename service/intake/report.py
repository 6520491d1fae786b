"""What a pull did, file by file."""

import datetime as dt
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class FileReport:
    """What became of one file in this pull: its row of the intake ledger."""

    file: str
    source: str
    pulled_at: dt.datetime
    rows_read: int
    stored: int
    identical: int
    superseded: int
    refused: int
    missing: int
    unmapped: int
    cells: int
    decided: str


@dataclass(slots=True)
class PassReport:
    """What a pull did: the files it read, those it did not have to or could not yet, and what is amiss."""

    files: list[FileReport] = field(default_factory=list)
    skipped: int = 0
    waiting: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)  # what about the files read a person should hear of
    pass_ids: list[int] = field(default_factory=list)
    is_rebuilt: bool = False
