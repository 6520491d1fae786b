"""Days of a fan whose readings came or changed after they had been read: its corrected past."""

import datetime as dt
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import sqlalchemy as sa

from service.store.tables import generations, passes, touched_days

# A nightly export touches yesterday again; what comes later than that corrects.
_LATE: Final = dt.timedelta(days=3)


@dataclass(frozen=True, slots=True)
class Correction:
    """Days in a row that were read again, and when: the ledger from the first of them on was written anew."""

    first: dt.date
    last: dt.date
    read_at: dt.datetime


def corrections(connection: sa.Connection, fan: str) -> tuple[Correction, ...]:
    """Return a fan's corrections in order of date; what a rebuild read again is none."""
    query = (
        sa.select(touched_days.c.date, passes.c.finished)
        .select_from(touched_days.join(passes).join(generations))
        .where(
            touched_days.c.fan == fan,
            passes.c.state == "done",
            generations.c.state == "current",
            passes.c.finished.is_not(None),
        )
        .order_by(touched_days.c.date, passes.c.id)
    )
    late: list[tuple[dt.date, dt.datetime]] = []
    for date, found in groupby(connection.execute(query), lambda row: row.date):
        read = [row.finished for row in found]
        if len(read) > 1 and read[-1].date() - date > _LATE:
            late.append((date, read[-1]))
    return _in_a_row(late)


def _in_a_row(late: list[tuple[dt.date, dt.datetime]]) -> tuple[Correction, ...]:
    """Join neighbouring days that one pass read."""
    joined: list[Correction] = []
    for date, read_at in late:
        before = joined[-1] if joined else None
        is_next = before is not None and before.read_at == read_at and date - before.last == dt.timedelta(1)
        if before is not None and is_next:
            joined[-1] = Correction(before.first, date, read_at)
        else:
            joined.append(Correction(date, date, read_at))
    return tuple(joined)
