"""What days does each fan have, and which of them are over?"""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import sqlalchemy as sa

from config.folder import SiteFolder
from service.assess.fan_hours import midnight
from service.assess.periods import IndexedDay
from service.store.ledger_tables import daily, fan_days, settled_days
from service.store.store import Store

_DAY: Final = dt.timedelta(days=1)
_INTERVAL_ROOM: Final = 1.01


def last_reading(site: SiteFolder, store: Store) -> dt.datetime | None:
    """Return the time of the last reading of any fan, None where there is none."""
    query = sa.select(sa.func.max(fan_days.c.last_reading)).where(fan_days.c.fan.in_(site.fan_names))
    with store.reader() as connection:
        found: dt.datetime | None = connection.execute(query).scalar()
    return found


def read_index(store: Store, fans: Sequence[str]) -> dict[str, list[IndexedDay]]:
    """Return the days of some fans, each fan's in order of date."""
    columns = [fan_days.c[name] for name in ("fan", *IndexedDay.__slots__)]
    query = sa.select(*columns).where(fan_days.c.fan.in_(fans)).order_by(fan_days.c.fan, fan_days.c.date)
    return _by_fan(store, query, fans)


def read_index_since_judged(store: Store, fans: Sequence[str]) -> dict[str, list[IndexedDay]]:
    """Return some fans' days from the one last judged before their ledgers settled, in order of date."""
    columns = [fan_days.c[name] for name in ("fan", *IndexedDay.__slots__)]
    settled = settled_days.join(
        daily, (daily.c.fan == settled_days.c.fan) & (daily.c.date == settled_days.c.date)
    )
    first = sa.func.coalesce(daily.c.judged_on, daily.c.date)
    query = (
        sa.select(*columns)
        .select_from(
            settled.join(fan_days, (fan_days.c.fan == settled_days.c.fan) & (fan_days.c.date >= first))
        )
        .where(settled_days.c.fan.in_(fans))
        .order_by(fan_days.c.fan, fan_days.c.date)
    )
    return _by_fan(store, query, fans)


def _by_fan(store: Store, query: sa.Select[Any], fans: Sequence[str]) -> dict[str, list[IndexedDay]]:
    found: dict[str, list[IndexedDay]] = {fan: [] for fan in fans}
    with store.reader() as connection:
        for fan, *values in connection.execute(query):
            found[fan].append(IndexedDay(*values))
    return found


def complete_days(site: SiteFolder, days: Sequence[IndexedDay], now: dt.datetime) -> list[IndexedDay]:
    """Return the days that are over: read to within an interval of midnight, or a day past it."""
    # Most days are long past; only the latest need their midnights.
    long_past = now.astimezone(site.site.zone).date() - 3 * _DAY
    return [day for day in days if day.date < long_past or _is_complete(site, day, now)]


def _is_complete(site: SiteFolder, day: IndexedDay, now: dt.datetime) -> bool:
    end = midnight(site, day.date + _DAY)
    if now >= end + _DAY:
        return True
    is_cut = day.last_reading > now
    return not is_cut and day.last_reading >= end - dt.timedelta(seconds=_INTERVAL_ROOM * day.interval_s)
