"""The history of what the data say of an alert: a row a change, with when it became true and why."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from analytics.vocabulary import AlertLevel, ClosedBy
from config.folder import SiteFolder
from service.alerts.identity import Row
from service.store.alert_tables import alert_history
from service.store.handling import DATA, Aspect

OVER: Final = "over"
TAKEN_BACK: Final = "taken back"
_WHY_OVER: Final = {
    ClosedBy.SERVICE.value: "service, and the data agree",
    ClosedBy.PERSON.value: "a person said so",
    ClosedBy.DATA.value: "the data have been quiet since",
}
_CORRECTED: Final = "readings, service or settings that came later moved it"
_NOT_REACHED: Final = "assessed as of a day before it opened"


@dataclass(frozen=True, slots=True)
class Change:
    """An alert's episode before and after an assessment; None where there is none.

    `is_reached` whether the fan's ledger goes as far as the alert's opening.
    """

    alert_id: int
    fan: str
    old: Row | None
    new: Row | None
    is_reached: bool = True

    @property
    def is_taken_back(self) -> bool:
        """Whether new data no longer show it."""
        return self.new is None or self.new["closed_by"] == ClosedBy.DATA_CHANGED.value

    @property
    def rises_to_act(self) -> bool:
        """Whether it is open at act level and was not before."""
        return state_of(self.new) == AlertLevel.ACT.value and state_of(self.old) != AlertLevel.ACT.value


def state_of(row: Row | None) -> str:
    """Return what the data say of an alert: "", watch, act, over or taken back."""
    if row is None:
        return ""
    if row["closed_by"] == ClosedBy.DATA_CHANGED.value:
        return TAKEN_BACK
    return OVER if row["closed_on"] is not None else str(row["level"])


def day_end(date: dt.date, zone: ZoneInfo) -> dt.datetime:
    """Return the midnight that ends a plant day, as UTC: what a day decided is true from then on."""
    return dt.datetime.combine(date + dt.timedelta(days=1), dt.time(), tzinfo=zone).astimezone(dt.UTC)


def write_history(
    connection: sa.Connection, site: SiteFolder, changes: Sequence[Change], now: dt.datetime
) -> None:
    """Append a row for each thing that changed."""
    rows = [
        {"alert_id": change.alert_id, "written_at": now, "who": DATA, "until": None, **row}
        for change in changes
        for row in _rows(change, site.site.zone, now)
    ]
    if rows:
        connection.execute(sa.insert(alert_history), rows)


def _rows(change: Change, zone: ZoneInfo, now: dt.datetime) -> Iterator[dict[str, Any]]:
    old, new = change.old, change.new
    if new is None:
        after, why = (TAKEN_BACK, _CORRECTED) if change.is_reached else ("", _NOT_REACHED)
        yield _row(Aspect.ALERT, state_of(old), after, now, why)
        return
    if old is not None and old["opened_on"] != new["opened_on"]:
        dates = str(old["opened_on"]), str(new["opened_on"])
        yield _row(Aspect.OPENING, *dates, new["opened_at"], _CORRECTED)
    before, after = state_of(old), state_of(new)
    if before == after:
        return
    if before == "":
        opened = AlertLevel.ACT.value if new["act_on"] == new["opened_on"] else AlertLevel.WATCH.value
        yield _row(Aspect.ALERT, before, opened, new["opened_at"], new["message"])
        before = opened
    if new["act_on"] is not None and before == AlertLevel.WATCH.value:
        why = "past the act limit"
        yield _row(Aspect.ALERT, before, AlertLevel.ACT.value, day_end(new["act_on"], zone), why)
        before = AlertLevel.ACT.value
    if before == after:
        return
    if after == TAKEN_BACK:
        yield _row(Aspect.ALERT, before, after, now, _CORRECTED)
    elif after == OVER:
        why = _WHY_OVER[new["closed_by"]]
        yield _row(Aspect.ALERT, before, after, day_end(new["closed_on"], zone), why)
    else:
        yield _row(Aspect.ALERT, before, after, now, _CORRECTED)


def _row(aspect: Aspect, old: str, new: str, true_from: dt.datetime, why: str) -> dict[str, Any]:
    return {"aspect": aspect.value, "old": old, "new": new, "true_from": true_from, "why": why}
