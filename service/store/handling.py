"""Who has an alert in hand: the last of the rows that people and dates have written about it."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import sqlalchemy as sa

from service.store.alert_tables import alert_history


class Handling(StrEnum):
    """How far people are with an alert."""

    UNTOUCHED = "untouched"
    IN_HAND = "in hand"
    SET_ASIDE = "set aside"
    OVER = "over"


class Aspect(StrEnum):
    """What of an alert a row of its history is about."""

    ALERT = "alert"
    OPENING = "opening"
    HANDLING = "handling"
    WORK = "work"
    PROOF = "proof"


DATA: Final = "data"  # who writes a row that no person wrote


@dataclass(frozen=True, slots=True)
class Mark:
    """What was last said of an alert's handling: by whom, why, since when, and until which plant day."""

    handling: Handling
    who: str
    why: str
    true_from: dt.datetime
    until: dt.date | None

    def holds(self, day: dt.date, marked_on: dt.date, act_on: dt.date | None) -> bool:
        """Tell whether nobody need be sent because of this alert on a plant day.

        What was said of a watch alert does not cover its rise to act later.
        """
        if self.handling is Handling.UNTOUCHED or (act_on is not None and marked_on < act_on <= day):
            return False
        return self.until is None or day <= self.until


def marks(
    connection: sa.Connection, alert_ids: Sequence[int] | None = None, at: dt.datetime | None = None
) -> dict[int, Mark]:
    """Return the last mark of each alert that has one, as of an instant (default: the latest)."""
    query = sa.select(alert_history).where(alert_history.c.aspect == Aspect.HANDLING.value)
    if alert_ids is not None:
        query = query.where(alert_history.c.alert_id.in_(alert_ids))
    if at is not None:
        query = query.where(alert_history.c.true_from <= at)
    found = connection.execute(query.order_by(alert_history.c.true_from, alert_history.c.id))
    return {
        row.alert_id: Mark(Handling(row.new), row.who, row.why, row.true_from, row.until) for row in found
    }


def history(connection: sa.Connection, alert_ids: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """Return the rows of some alerts in the order they were written."""
    query = sa.select(alert_history).where(alert_history.c.alert_id.in_(alert_ids))
    rows: dict[int, list[dict[str, Any]]] = {alert_id: [] for alert_id in alert_ids}
    for row in connection.execute(query.order_by(alert_history.c.id)):
        rows[row.alert_id].append(dict(row._mapping))
    return rows
