"""Up to which day are a fan's alerts found for good, and what of them is open to nothing that comes after?"""

import datetime as dt
import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.at_rest import WATCH_REVISION, last_at_rest
from analytics.episode import Episode, JudgedDay
from analytics.machine import Limits
from analytics.results_version import RESULTS_VERSION
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy
from config.folder import SiteFolder
from service.store.ledger_tables import watched_days
from service.store.store import Store

# A few days are found again sooner than the day is written down.
_WORTH_WRITING: Final = dt.timedelta(days=7)
_NOTHING: Final = float("nan")


@dataclass(frozen=True, slots=True)
class Watched:
    """What is found for good of a fan's alerts.

    `date` of the last day of its ledger that bears on no later alert; `episodes` found up to there, all
    closed; `healthy`, the judged days of its healthy period, whose scatter later days are held against.
    """

    date: dt.date
    episodes: tuple[Episode, ...]
    healthy: tuple[JudgedDay, ...]


NOTHING_KNOWN: Final = Watched(dt.date.min, (), ())


def read_watched(connection: sa.Connection, site: SiteFolder, fans: Sequence[str]) -> dict[str, Watched]:
    """Return what is found for good of some fans' alerts: nothing where limits or the log have changed."""
    query = sa.select(watched_days).where(watched_days.c.fan.in_(fans))
    return {
        row.fan: Watched(
            row.date,
            tuple(_episode(told) for told in row.standing["episodes"]),
            tuple(_healthy_day(row.date, *one) for one in row.standing["healthy"]),
        )
        for row in connection.execute(query)
        if row.made_of == _made_of(site, row.fan)
    }


def watched_until(days: Sequence[JudgedDay], found: Sequence[Episode], before: Watched) -> Watched | None:
    """Return what is found for good now, None where that is hardly more than before.

    Parameters: `days`, those after what was found for good `before`, its healthy ones first; `found`, the
    episodes of all days.
    """
    last = last_at_rest(days, [one for one in found if one not in before.episodes])
    if last is None or (before is not NOTHING_KNOWN and days[last].date - before.date < _WORTH_WRITING):
        return None
    date = days[last].date
    healthy = tuple(day for day in days if day.is_healthy_period and day.is_judged)
    return Watched(date, tuple(one for one in found if one.opened_on <= date), healthy)


def write_watched(store: Store, site: SiteFolder, found: Iterable[tuple[str, Watched]]) -> None:
    """Write down what is found for good of some fans' alerts in place of what was."""
    rows = [
        {"fan": fan, "date": one.date, "made_of": _made_of(site, fan), "standing": _standing(one)}
        for fan, one in found
    ]
    if not rows:
        return
    with store.writer() as connection:
        connection.execute(
            sa.delete(watched_days).where(watched_days.c.fan.in_([row["fan"] for row in rows]))
        )
        connection.execute(sa.insert(watched_days), rows)


def _made_of(site: SiteFolder, fan: str) -> str:
    """Return the digest of all that a fan's alerts are made of but its ledger's rows."""
    facts = hashlib.sha256(f"{WATCH_REVISION}|{RESULTS_VERSION}".encode())
    for epoch in site.epochs(fan):
        facts.update(f"{epoch.valid_from}|{epoch.limits!r}|{epoch.machine.drive}".encode())
    for entry in site.entries(fan):
        facts.update(f"{entry.date}|{entry.work}|{entry.role}".encode())
    return facts.hexdigest()


def _standing(watched: Watched) -> dict[str, Any]:
    return {
        "episodes": [_told(one) for one in watched.episodes],
        "healthy": [[_known(day.slip_innovation), _known(day.drag_innovation)] for day in watched.healthy],
    }


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _told(episode: Episode) -> dict[str, Any]:
    told = asdict(episode) | {"value_pct": _known(episode.value_pct)}
    dates = ("opened_on", "opened_at", "act_on", "closed_on")
    return told | {name: told[name] and told[name].isoformat() for name in dates}


def _episode(told: Mapping[str, Any]) -> Episode:
    return Episode(
        AlertKind(told["kind"]),
        AlertLevel(told["level"]),
        dt.date.fromisoformat(told["opened_on"]),
        dt.datetime.fromisoformat(told["opened_at"]),
        told["act_on"] and dt.date.fromisoformat(told["act_on"]),
        Cause(told["cause"]),
        told["cause_share"],
        told["closed_on"] and dt.date.fromisoformat(told["closed_on"]),
        told["closed_by"] and ClosedBy(told["closed_by"]),
        told["topic"],
        _NOTHING if told["value_pct"] is None else told["value_pct"],
        tuple(Cause(cause) for cause in told["alike"]),
    )


def _healthy_day(until: dt.date, slip: float | None, drag: float | None) -> JudgedDay:
    """Return a day of the healthy period with all that later days ask of it: its innovations."""
    return JudgedDay(
        date=until,
        is_judged=True,
        is_healthy_period=True,
        is_awaited=False,
        slip_ref_pct=_NOTHING,
        drag_ref_pct=_NOTHING,
        cause=Cause.NONE,
        cause_share=1.0,
        last_reading=dt.datetime.combine(until, dt.time(), tzinfo=dt.UTC),
        limits=Limits(),
        can_slip=False,
        slip_innovation=_NOTHING if slip is None else slip,
        drag_innovation=_NOTHING if drag is None else drag,
    )
