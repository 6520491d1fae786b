"""The daily ledger as a table."""

from typing import Final

import pandas as pd
import sqlalchemy as sa

from service.store.ledger_tables import NUMBERS, daily
from service.store.store import Store

COLUMNS: Final = ("fan", "date", "hours", "hours_used", *NUMBERS, "cause", "cause_share", "note")


def export_daily(store: Store, fan: str | None = None) -> pd.DataFrame:
    """Return the ledger, one row a fan and operating day, sorted by both; of one fan or of all."""
    query = sa.select(*(daily.c[name] for name in COLUMNS)).order_by(daily.c.fan, daily.c.date)
    if fan is not None:
        query = query.where(daily.c.fan == fan)
    with store.reader() as connection:
        return pd.DataFrame(connection.execute(query).all(), columns=list(COLUMNS))
