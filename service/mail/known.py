"""What the store knew at the end of a week."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import ClosedBy, Work
from config.epoch import FanEpoch
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.mail.weeks import Week
from service.mail.writing import Row
from service.store.fleet import FanStanding, OpenAlert, fleet
from service.store.handling import Mark, marks
from service.store.ledger_tables import curves, daily, episodes, fan_days
from service.store.store import Store

RECENT_DAYS: Final = 62
_WEEK: Final = dt.timedelta(days=7)


@dataclass(frozen=True)
class Known:
    """A site as it was known when a week ended.

    `fleet` worst first; `recent` each fan's rows of the last two months in order of date; `silent_why` why a
    fan has no healthy curves; `notices` the episodes that had opened by then, closings after it undone;
    `marks` what people had last said of an alert; `taken_back` the told episodes that new data took back;
    `read_on` the last plant day with a reading of each fan that has any.
    """

    site: SiteFolder
    store: Store
    week: Week
    fleet: tuple[FanStanding, ...]
    recent: dict[str, list[Row]]
    silent_why: dict[str, str]
    notices: dict[str, list[Row]]
    marks: dict[int, Mark]
    taken_back: tuple[Row, ...]
    read_on: dict[str, dt.date]

    @cached_property
    def last_day(self) -> dt.date:
        """The week's Sunday."""
        return self.week.last

    def epoch(self, fan: str) -> FanEpoch:
        """Return the row of fans.csv that held at the week's end."""
        return self.site.epoch_at(fan, self.last_day) or self.site.epochs(fan)[0]

    def mark_on(self, alert: OpenAlert) -> Mark | None:
        """Return what holds of what people said of an alert: for as long, nobody is sent because of it."""
        mark = self.marks.get(alert.alert_id)
        if mark is None:
            return None
        said_on = mark.true_from.astimezone(self.site.site.zone).date()
        return mark if mark.holds(self.last_day, said_on, alert.act_on) else None

    def rows(self, fan: str, last: dt.date | None = None) -> list[Row]:
        """Return a fan's recent rows up to a day (default: the week's end)."""
        end = self.last_day if last is None else last
        return [row for row in self.recent.get(fan, []) if row["date"] <= end]

    def this_week(self, fan: str) -> list[Row]:
        """Return a fan's rows of the week."""
        return [row for row in self.recent.get(fan, []) if row["date"] >= self.week.first]

    def is_judged_this_week(self, fan: str) -> bool:
        """Tell whether any day of the week was judged."""
        return any(row["slip_pct"] is not None for row in self.this_week(fan))

    @property
    def last_read(self) -> dt.date | None:
        """The last day up to the week's end with a reading of any fan it is about; None of none."""
        return max((day for fan in self.fleet if (day := self.read_on.get(fan.fan))), default=None)

    def telling(self, fan: str) -> list[Row]:
        """Return the judged rows of the week, in order, none of them before the latest work on the fan."""
        works = [entry.date for entry in self.served(fan) if entry.work is not Work.INSPECTED]
        first = max([self.week.first, *works])
        return [row for row in self.rows(fan) if row["date"] >= first and row["slip_pct"] is not None]

    def last_week_ref(self, fan: str, name: str) -> float | None:
        """Return a reference value as it stood when the week before ended."""
        rows = self.rows(fan, self.last_day - _WEEK)
        value: float | None = rows[-1][name] if rows else None
        return value

    def served(self, fan: str) -> list[ServiceEntry]:
        """Return the work done on a fan up to the week's end, in order."""
        entries = [e for e in self.site.entries(fan) if e.date <= self.last_day]
        return sorted(entries, key=lambda entry: (entry.date, entry.time or dt.time()))

    def all_rows(self, fan: str, days: int) -> list[Row]:
        """Return a fan's rows of so many days up to the week's end, read for it alone."""
        first = self.last_day - dt.timedelta(days=days)
        return _rows(self.store, daily.c.fan == fan, first, self.last_day).get(fan, [])


def known_at(site: SiteFolder, store: Store, week: Week) -> Known:
    """Read what was known when a week ended."""
    first = week.last - dt.timedelta(days=RECENT_DAYS)
    with store.reader() as connection:
        reasons = connection.execute(sa.select(curves.c.fan, curves.c.reason).order_by(curves.c.epoch)).all()
        told = sa.select(episodes).where(episodes.c.opened_on <= week.last).order_by(episodes.c.opened_at)
        opened = [dict(row._mapping) for row in connection.execute(told)]
        said = marks(connection, at=week.ends(site.site.zone))
        read_on = _read_on(connection, week.last)
    notices: dict[str, list[Row]] = {}
    for row in opened:
        is_closed = row["closed_on"] is not None and row["closed_on"] <= week.last
        row.update({} if is_closed else {"closed_on": None, "closed_by": None})
        notices.setdefault(row["fan"], []).append(row)
    return Known(
        site,
        store,
        week,
        tuple(fleet(site, store, as_of=week.last)),
        _rows(store, sa.true(), first, week.last),
        {row.fan: row.reason for row in reasons if row.reason},
        notices,
        said,
        tuple(row for row in opened if _is_taken_back_in(row, week)),
        read_on,
    )


def _read_on(connection: sa.Connection, last: dt.date) -> dict[str, dt.date]:
    """Return each fan's last day with readings: one on which it stood has no row in the ledger."""
    found: dict[str, dt.date] = {}
    for table in (daily, fan_days):
        latest = sa.select(table.c.fan, sa.func.max(table.c.date)).where(table.c.date <= last)
        for fan, day in connection.execute(latest.group_by(table.c.fan)):
            found[fan] = max(day, found.get(fan, day))
    return found


def _is_taken_back_in(row: Row, week: Week) -> bool:
    is_in_week = row["closed_on"] is not None and week.first <= row["closed_on"] <= week.last
    return is_in_week and row["closed_by"] == ClosedBy.DATA_CHANGED.value


def _rows(store: Store, where: sa.ColumnElement[bool], first: dt.date, last: dt.date) -> dict[str, list[Row]]:
    columns = [column for column in daily.c if column.name != "state"]
    query = sa.select(*columns).where(where, daily.c.date.between(first, last))
    found: dict[str, list[Row]] = {}
    with store.reader() as connection:
        for row in connection.execute(query.order_by(daily.c.fan, daily.c.date)):
            values: dict[str, Any] = dict(row._mapping)
            found.setdefault(values["fan"], []).append(values)
    return found
