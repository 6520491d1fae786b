"""Which part of a fan's ledger needs no second look, because nothing that it was made of has changed?"""

import datetime as dt
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import AlertKind
from config.folder import SiteFolder
from service.assess.lanes import Learned, base
from service.assess.periods import IndexedDay, new_wheels
from service.assess.references import CARRIED
from service.store.ledger_tables import daily, settled_days
from service.store.store import Store

# What of a row of fans.csv bears on the ledger: names, places and points do not.
_JUDGED_BY: Final = {"valid_from", "machine", "limits", "baseline"}
_RESUMED: Final = ("state", "judged_on", "new_normal", *CARRIED)


@dataclass(frozen=True, slots=True)
class Settled:
    """How far a fan's ledger needs no second look.

    `date` of its last row; `as_of` the instant it was assessed to; `made_of` the digest of all that its rows
    were made of but the readings; `served` from when each measure of the trend runs on undisturbed by work;
    `is_proof_seen` whether the run proof was ever on up to that day; `row` of the ledger to go on from, empty
    where it has just been found.
    """

    fan: str
    date: dt.date
    as_of: dt.datetime
    made_of: str
    served: Mapping[AlertKind, dt.date]
    is_proof_seen: bool
    row: Mapping[str, Any] = field(default_factory=dict)

    def as_row(self) -> dict[str, Any]:
        """Return the row it is written down as."""
        served = {kind.value: date.isoformat() for kind, date in self.served.items()}
        return {
            name: getattr(self, name) for name in ("fan", "date", "as_of", "made_of", "is_proof_seen")
        } | {"served": served}


def read_settled(store: Store, fans: Sequence[str], now: dt.datetime) -> dict[str, Settled]:
    """Return what is settled of some fans at an instant: nothing of those assessed to a later one."""
    columns = [daily.c[name] for name in _RESUMED]
    query = (
        sa.select(settled_days, *columns)
        .join(daily, (daily.c.fan == settled_days.c.fan) & (daily.c.date == settled_days.c.date))
        .where(settled_days.c.fan.in_(fans), settled_days.c.as_of <= now)
    )
    with store.reader() as connection:
        rows = [row._mapping for row in connection.execute(query)]
    return {
        row["fan"]: Settled(
            row["fan"],
            row["date"],
            row["as_of"],
            row["made_of"],
            {AlertKind(kind): dt.date.fromisoformat(date) for kind, date in row["served"].items()},
            row["is_proof_seen"],
            {"date": row["date"], **{name: row[name] for name in _RESUMED}},
        )
        for row in rows
    }


def made_of(site: SiteFolder, fan: str, learned: Sequence[Learned]) -> str:
    """Return the digest of all that a fan's ledger is made of but its readings and the instant."""
    facts = hashlib.sha256(site.site.timezone.encode())
    for epoch in site.epochs(fan):
        facts.update(epoch.model_dump_json(include=_JUDGED_BY).encode())
        facts.update(repr(sorted(epoch.given)).encode())
    for entry in site.entries(fan):
        facts.update(entry.model_dump_json(exclude={"fan", "row"}).encode())
    for part in learned:
        facts.update(base(part))
    return facts.hexdigest()


def settled_at(
    site: SiteFolder,
    fan: str,
    learned: Sequence[Learned],
    index: Sequence[IndexedDay],
    complete: Sequence[IndexedDay],
    last: dt.date | None,
) -> dt.date | None:
    """Return the day up to which a fan's ledger will need no second look, None where it does.

    Settled is what no later day can change: every healthy period is over and learned, no work and no row of
    fans.csv waits to begin one, and no day before the last row is still open.

    Parameters: `index`, the fan's days, and `complete`, those that are over; `last` day of its ledger.
    """
    if last is None:
        return None
    over = {day.date for day in complete}
    is_open_before = any(day.date <= last and day.date not in over for day in index)
    is_learned = all(
        part.stretch.last is not None and max(part.stretch.last, part.stretch.begins or dt.date.min) <= last
        for part in learned
    )
    is_wheel_due = any(date > last for date in new_wheels(site.entries(fan), fan))
    return last if is_learned and not is_open_before and not is_wheel_due else None


def write_settled(connection: sa.Connection, fans: Iterable[str], found: Iterable[Settled]) -> None:
    """Write down what is settled of some fans in place of what was."""
    connection.execute(sa.delete(settled_days).where(settled_days.c.fan.in_([*fans])))
    rows = [one.as_row() for one in found]
    if rows:
        connection.execute(sa.insert(settled_days), rows)
