"""Which sources answered, and since when one has not: kept stretch by stretch."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from service.store.source_tables import source_stretches

# A server that is restarted misses a pass or two. Common practice, no source.
STAYS_DOWN_AFTER: Final = 3


@dataclass(frozen=True, slots=True)
class SourceState:
    """How a source has answered since some time; `message` says why it could not be reached."""

    source: str
    is_down: bool
    first_at: dt.datetime
    last_at: dt.datetime
    passes: int
    message: str

    @property
    def stays_down(self) -> bool:
        """Tell whether a person should hear of it."""
        return self.is_down and self.passes >= STAYS_DOWN_AFTER


def note_sources(connection: sa.Connection, now: dt.datetime, problems: Mapping[str, str]) -> None:
    """Enter how each source answered a pass: its problem, blank where it was reached."""
    last = source_states(connection)
    for source, message in problems.items():
        known = last.get(source)
        is_down = bool(message)
        if known is not None and known.is_down == is_down:
            connection.execute(
                sa.update(source_stretches)
                .where(source_stretches.c.source == source, source_stretches.c.first_at == known.first_at)
                .values(last_at=now, passes=known.passes + 1, message=message)
            )
            continue
        row = {"source": source, "is_down": is_down, "message": message, "passes": 1}
        connection.execute(sa.insert(source_stretches), [{**row, "first_at": now, "last_at": now}])


def source_states(connection: sa.Connection) -> dict[str, SourceState]:
    """Return how each source that a pass ever looked at answered last."""
    latest = sa.select(sa.func.max(source_stretches.c.id)).group_by(source_stretches.c.source)
    columns = source_stretches.c
    query = sa.select(
        columns.source, columns.is_down, columns.first_at, columns.last_at, columns.passes, columns.message
    ).where(columns.id.in_(latest))
    return {row.source: SourceState(*row) for row in connection.execute(query.order_by(columns.source))}
