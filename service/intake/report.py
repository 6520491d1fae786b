"""What a pull did, file by file."""

import datetime as dt
from dataclasses import dataclass, field

from service.store.source_stretches import SourceState


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
    # Each source's problem, blank where it was reached; and how each has answered since when.
    sources: dict[str, str] = field(default_factory=dict)
    source_states: list[SourceState] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)  # what about the files read a person should hear of
    pass_ids: list[int] = field(default_factory=list)
    is_rebuilt: bool = False

    @property
    def problems(self) -> list[str]:
        """Return why some sources could not be reached, and since when where that is not new."""
        return [
            f"{state.message} (for {state.passes} passes, since {state.first_at:%Y-%m-%d %H:%M} UTC)"
            if state.stays_down
            else state.message
            for state in self.source_states
            if state.is_down
        ]
