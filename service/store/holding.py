"""Keeping files of readings from being deleted while a backup reads them."""

import datetime as dt
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import sqlalchemy as sa

from service.store.database import Database
from service.store.hold_tables import holds

# A hold that is no longer renewed lapses: its process is gone.
LAPSE: Final = dt.timedelta(minutes=10)


@contextmanager
def holding(
    database: Database, holder: str, clock: Callable[[], dt.datetime]
) -> Iterator[Callable[[], None]]:
    """Hold every file of readings; yield what renews the hold, to be called now and then."""
    name = uuid.uuid4().hex

    def renew() -> None:
        now = clock()
        with database.unchecked_writer() as connection:
            connection.execute(sa.update(holds).where(holds.c.id == name).values(until=now + LAPSE))

    begun = clock()
    row = {"id": name, "holder": holder, "taken_at": begun, "until": begun + LAPSE}
    with database.unchecked_writer() as connection:
        connection.execute(sa.delete(holds).where(holds.c.until < begun))
        connection.execute(sa.insert(holds), [row])
    try:
        yield renew
    finally:
        with database.unchecked_writer() as connection:
            connection.execute(sa.delete(holds).where(holds.c.id == name))


def held_by(database: Database, now: dt.datetime) -> str | None:
    """Return who holds files of readings at an instant, None where they may be deleted."""
    query = sa.select(holds.c.holder).where(holds.c.until >= now).order_by(holds.c.taken_at).limit(1)
    with database.reader() as connection:
        found = connection.execute(query).scalar()
    return None if found is None else str(found)
