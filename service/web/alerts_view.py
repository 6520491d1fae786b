"""The alerts as their page shows them: the open ones by age and who has them, the closed ones as judged."""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.episodes import DRIFT_TOPICS
from analytics.vocabulary import AlertKind, Cause, ClosedBy
from service.store.handling import Aspect, Handling, Mark, history, marks
from service.store.ledger_tables import daily, episodes
from service.web.desk import Desk
from service.words import about

MOST_CLOSED: Final = 200
_CLOSED_WORDS: Final[dict[str, str]] = {
    ClosedBy.SERVICE.value: "by service, and the data agree",
    ClosedBy.PERSON.value: "by a person",
    ClosedBy.DATA_CHANGED.value: "taken back: data that came later do not show it",
}
# What the data showed where they closed an alert themselves.
_SHOWN_WORDS: Final[dict[str, str]] = {
    AlertKind.BELT_SLIP.value: "by the data: below half its limit for ten judged days",
    AlertKind.DRIVE_LOSS.value: "by the data: below half its limit for ten judged days",
    AlertKind.DRIVE_LOST.value: "by the data: the motor turns the wheel again",
    AlertKind.NOTICE.value: "by the data: they no longer show it",
}
_TAKEN_OVER: Final = "past its limit: an alert took its place"
_KIND_OF_DRIFT: Final = {topic: kind.value for kind, topic in DRIFT_TOPICS.items()}


@dataclass(frozen=True, slots=True)
class AlertLine:
    """One alert: the numbers of its row, its age in days, who has it, its work and the data's verdict."""

    number: int
    fan: str
    level: str
    is_lost: bool
    about: str
    opened_on: dt.date
    act_on: dt.date | None
    message: str
    age_days: int
    mark: Mark | None
    proof: str
    rests_on: str
    closed_on: dt.date | None
    closed: str

    @property
    def handling(self) -> Handling:
        """How far people are with it."""
        return Handling.UNTOUCHED if self.mark is None else self.mark.handling

    @property
    def is_untouched(self) -> bool:
        """Whether nobody has it in hand."""
        return self.handling is Handling.UNTOUCHED


@dataclass(frozen=True, slots=True)
class AlertsPage:
    """The open alerts, those in nobody's hand first, then lost drives, by level and age; and closed ones."""

    opened: tuple[AlertLine, ...]
    closed: tuple[AlertLine, ...]
    closed_in_all: int
    today: dt.date
    ledger_day: dt.date

    @property
    def untouched(self) -> int:
        """How many are in nobody's hand."""
        return sum(line.is_untouched for line in self.opened)


def alerts_page(desk: Desk, fan: str = "") -> AlertsPage:
    """Read the alerts of all fans, or of one."""
    is_asked = sa.true() if not fan else episodes.c.fan == fan
    is_open = episodes.c.closed_on.is_(None)
    opened_query = sa.select(episodes).where(is_asked, is_open)
    closed_query = sa.select(episodes).where(is_asked, ~is_open)
    latest = closed_query.order_by(episodes.c.closed_on.desc(), episodes.c.alert_id.desc())
    with desk.store.reader() as connection:
        opened = connection.execute(opened_query.order_by(episodes.c.opened_at, episodes.c.alert_id)).all()
        closed = connection.execute(latest.limit(MOST_CLOSED)).all()
        counted = sa.select(sa.func.count()).select_from(closed_query.subquery())
        in_all = connection.execute(counted).scalar() or 0
        openings = {(row.fan, row.kind, row.opened_on) for row in (*opened, *closed)}
        numbers = [row.alert_id for row in (*opened, *closed)]
        said = marks(connection, numbers)
        last = connection.execute(sa.select(sa.func.max(daily.c.date))).scalar()
        proofs = {number: _proof(rows) for number, rows in history(connection, numbers).items()}
    today = desk.clock().astimezone(desk.site.site.zone).date()
    # As old as the data show it: where they end before today, nobody knows whether it still is so.
    day = last or today
    lines = [_line(row, said.get(row.alert_id), proofs[row.alert_id], day, "") for row in opened]
    lines.sort(key=lambda line: (not line.is_untouched, not line.is_lost, line.level != "act"))
    return AlertsPage(
        tuple(lines),
        tuple(
            _line(row, said.get(row.alert_id), proofs[row.alert_id], day, _closed_words(row, openings))
            for row in closed
        ),
        in_all,
        today,
        day,
    )


def _proof(rows: Sequence[Mapping[str, Any]]) -> tuple[str, str]:
    """Return the data's latest verdict on the work done, and what it rests on."""
    found = [row for row in rows if row["aspect"] == Aspect.PROOF.value]
    return (found[-1]["new"], found[-1]["why"]) if found else ("", "")


def _closed_words(row: Any, openings: Collection[tuple[str, str, dt.date]]) -> str:
    """Say by what an alert was closed; `openings` the fans, kinds and days of the alerts beside it."""
    if row.closed_by != ClosedBy.DATA.value:
        return _CLOSED_WORDS[row.closed_by]
    if (row.fan, _KIND_OF_DRIFT.get(row.topic), row.closed_on) in openings:
        return _TAKEN_OVER
    return _SHOWN_WORDS[row.kind]


def _line(row: Any, mark: Mark | None, proof: tuple[str, str], day: dt.date, closed: str) -> AlertLine:
    return AlertLine(
        row.alert_id,
        row.fan,
        row.level,
        row.kind == AlertKind.DRIVE_LOST.value,
        about(row.topic, Cause(row.cause), [Cause(cause) for cause in row.alike]),
        row.opened_on,
        row.act_on,
        row.message,
        max((row.closed_on or day) - row.opened_on, dt.timedelta()).days,
        mark,
        *proof,
        row.closed_on,
        closed,
    )
