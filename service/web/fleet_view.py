"""The rows of the fleet page: few readings of the database, whatever the number of fans."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import AlertKind, Cause, Drive
from config.epoch import FanEpoch
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.store.fleet import FanStanding, fleet
from service.store.ledger_tables import curves, daily
from service.web.causes import cause_words
from service.web.desk import Desk
from service.web.drawing import LINE_DAYS, line_height, polylines
from service.web.fleet_choice import WORST, Choice
from service.web.marks import MARKS
from service.web.measures import Measure, drag_measure, slip_measure
from service.web.service_done import ServiceDone, services_done
from service.words import told_cause

_SERVED: Final = ("fan", "date", "slip_ref_pct", "drag_ref_pct", "is_healthy_period", "cause")
_LOST_PCT: Final = 100.0
_NO_BELT: Final = {Drive.DIRECT: "direct drive", Drive.SYNCHRONOUS_BELT: "toothed belt"}
Days = list[tuple[int, float]]


@dataclass(frozen=True, slots=True)
class FleetRow:
    """One fan as the fleet page shows it."""

    fan: FanStanding
    epoch: FanEpoch
    mark: str
    is_first_of_standing: bool
    is_lost: bool
    slip_before_lost_pct: float | None
    slip: Measure | None
    no_belt: str
    drag: Measure | None
    lines: tuple[str, ...]
    watch_height: int
    cause: str
    share: float | None
    done: ServiceDone | None
    unseen: str


@dataclass(frozen=True, slots=True)
class _Recent:
    """What the rows need of the last 90 days: slip by day, and whole rows of fans that were served."""

    last: dt.date | None
    slips: Mapping[str, Days]
    served: Mapping[str, Sequence[Mapping[str, Any]]]
    reasons: Mapping[str, str]


def fleet_rows(desk: Desk, choice: Choice) -> tuple[list[FleetRow], list[FanStanding]]:
    """Return the rows that are wanted, in the order that is wanted, and every fan's standing."""
    site = desk.site
    everyone = fleet(site, desk.store)
    chosen = choice.of_fleet(site, everyone)
    last = max((fan.row["date"] for fan in everyone if fan.row), default=None)
    recent = _recent(desk, last, sorted({entry.fan for entry in site.service}))
    return list(_rows(site, chosen, recent, is_worst_first=choice.order == WORST)), everyone


def _rows(
    site: SiteFolder,
    chosen: Sequence[FanStanding],
    recent: _Recent,
    *,
    is_worst_first: bool,
) -> Iterator[FleetRow]:
    before = None
    for fan in chosen:
        is_first = is_worst_first and fan.standing is not before
        before = fan.standing
        yield _row(site.epochs(fan.fan)[-1], fan, site.entries(fan.fan), recent, is_first)


def _recent(desk: Desk, last: dt.date | None, served: Sequence[str]) -> _Recent:
    """Read the last 90 days of every fan, and why some have no healthy curves."""
    with desk.store.reader() as connection:
        reasons = sa.select(curves.c.fan, curves.c.reason).where(curves.c.reason.is_not(None))
        told = {row.fan: row.reason for row in connection.execute(reasons.order_by(curves.c.epoch))}
        if last is None:
            return _Recent(last, {}, {}, told)
        is_judged = (daily.c.date > last - dt.timedelta(days=LINE_DAYS)) & daily.c.slip_pct.is_not(None)
        is_judged = is_judged & daily.c.slip_ref_pct.is_not(None)
        line = sa.select(daily.c.fan, daily.c.date, daily.c.slip_ref_pct).where(is_judged)
        found = connection.execute(line.order_by(daily.c.fan, daily.c.date))
        slips = {
            fan: [(date.toordinal(), slip) for _, date, slip in days]
            for fan, days in groupby(found, itemgetter(0))
        }
        whole = sa.select(*(daily.c[name] for name in _SERVED)).where(is_judged, daily.c.fan.in_(served))
        rows: dict[str, list[Mapping[str, Any]]] = {}
        for row in connection.execute(whole.order_by(daily.c.fan, daily.c.date)):
            rows.setdefault(row.fan, []).append(dict(row._mapping))
    return _Recent(last, slips, rows, told)


def _row(
    epoch: FanEpoch, fan: FanStanding, entries: Sequence[ServiceEntry], recent: _Recent, is_first: bool
) -> FleetRow:
    can_slip = epoch.machine.drive.can_slip
    days = recent.slips.get(fan.fan, [])
    is_drawn = can_slip and recent.last is not None
    cause, share = _cause(fan)
    return FleetRow(
        fan=fan,
        epoch=epoch,
        mark=MARKS[fan.standing],
        is_first_of_standing=is_first,
        is_lost=any(alert.kind is AlertKind.DRIVE_LOST for alert in fan.alerts),
        slip_before_lost_pct=_before_lost(days),
        slip=slip_measure(fan.row, epoch) if can_slip else None,
        no_belt=_NO_BELT.get(epoch.machine.drive, ""),
        drag=drag_measure(fan.row, epoch),
        lines=polylines(days, recent.last.toordinal()) if is_drawn and recent.last else (),
        watch_height=line_height(epoch.limits.slip_watch_pct),
        cause=cause,
        share=share,
        done=_last_service(entries, recent.served.get(fan.fan, ()), epoch),
        unseen=unseen(fan, recent.reasons.get(fan.fan, "")),
    )


def _before_lost(days: Days) -> float | None:
    """Return the slip of the last day on which the wheel still turned with the motor."""
    return next((slip for _, slip in reversed(days) if slip < _LOST_PCT), None)


def _cause(fan: FanStanding) -> tuple[str, float | None]:
    """Say what is wrong now: what raw readings show at once, else the latest judged day."""
    for alert in fan.alerts:
        if alert.kind is AlertKind.DRIVE_LOST:
            return "the drive is lost", None
        if alert.topic in ("stopped though commanded", "speed not followed"):
            return alert.topic, None
    if fan.judged is None:
        return "", None
    if Cause(fan.judged["cause"]) is Cause.NONE:
        # An alert stays open for some quiet days: its matter is named beside today's.
        lasting = [
            told_cause(alert.cause, alert.alike)
            for alert in fan.alerts
            if alert.cause is not Cause.NOT_JUDGED
        ]
        today = cause_words(fan.judged)
        return (f"{today} lately; still open: {lasting[0]}" if lasting else today), None
    return cause_words(fan.judged), fan.judged["cause_share"]


def _last_service(
    entries: Sequence[ServiceEntry], rows: Sequence[Mapping[str, Any]], epoch: FanEpoch
) -> ServiceDone | None:
    if not entries:
        return None
    latest = sorted(entries, key=lambda e: e.date)[-2:]
    done = services_done(latest, epoch, rows)
    # An inspection after a repair does not hide whether the repair worked.
    judged = [one for one in done if one.verdict]
    return judged[0] if judged else done[0]


def unseen(fan: FanStanding, reason: str) -> str:
    """Say what cannot be judged and why; nothing where the latest day was judged."""
    if fan.row is None:
        return reason or "no day in the ledger yet"
    if fan.row["cause"] != Cause.NOT_JUDGED.value:
        return ""
    if fan.judged is None:
        return reason or fan.row["note"]
    missed = (fan.row["date"] - fan.judged["date"]).days
    days = "the last day" if missed == 1 else f"the last {missed} days"
    return f"{days}: {fan.row['note'] or 'no reason kept'}"
