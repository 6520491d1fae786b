"""The rows of the fleet page: two readings of the database, whatever the number of fans."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import AlertKind, Cause, Drive
from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.store.fleet import FanStanding, fleet
from service.store.ledger_tables import curves, daily
from service.web.causes import cause_words
from service.web.desk import Desk
from service.web.drawing import (
    LINE_DAYS,
    Interval,
    drag_interval,
    interval,
    line_height,
    polylines,
)
from service.web.marks import MARKS, slug
from service.web.service_done import ServiceDone, services_done
from service.words import CAUSE_WORDS

_LONGEST_SEARCH: Final = 200
_RECENT: Final = ("fan", "date", "slip_ref_pct", "drag_ref_pct", "is_healthy_period", "cause")
_LOST_PCT: Final = 100.0
_NO_BELT: Final = {Drive.DIRECT: "direct drive", Drive.SYNCHRONOUS_BELT: "toothed belt"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the address asks for: a building, a standing, words to find."""

    building: str = ""
    standing: str = ""
    words: str = ""

    @property
    def is_everything(self) -> bool:
        """Whether nothing is left out."""
        return not (self.building or self.standing or self.words)

    def takes(self, fan: FanStanding, epoch: FanEpoch) -> bool:
        """Tell whether a fan is wanted."""
        if self.building and fan.building != self.building:
            return False
        if self.standing and slug(fan.standing) != self.standing:
            return False
        text = " ".join(
            (fan.fan, fan.building, epoch.location or "", epoch.serves or "", cause_words(fan.judged))
        )
        return all(word in text.casefold() for word in self.words[:_LONGEST_SEARCH].casefold().split())


@dataclass(frozen=True, slots=True)
class Measure:
    """A number with its interval and its drawing."""

    centre: float
    low: float
    high: float
    drawing: Interval


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
    watch_height: float
    cause: str
    share: float | None
    done: ServiceDone | None
    unseen: str


def fleet_rows(desk: Desk, wanted: Wanted) -> tuple[list[FleetRow], list[FanStanding]]:
    """Return the rows that are wanted, worst first, and every fan's standing."""
    site = desk.site
    everyone = fleet(site, desk.store)
    chosen = [fan for fan in everyone if wanted.takes(fan, site.epochs(fan.fan)[-1])]
    last = max((fan.row["date"] for fan in everyone if fan.row), default=None)
    recent, reasons = _recent(desk, last)
    rows: list[FleetRow] = []
    for fan in chosen:
        is_first = not rows or rows[-1].fan.standing is not fan.standing
        rows.append(_row(site, fan, recent.get(fan.fan, []), reasons.get(fan.fan, ""), last, is_first))
    return rows, everyone


def _recent(desk: Desk, last: dt.date | None) -> tuple[dict[str, list[Mapping[str, Any]]], dict[str, str]]:
    """Read the last 90 days of every fan, and why some have no healthy curves."""
    found: dict[str, list[Mapping[str, Any]]] = {}
    with desk.store.reader() as connection:
        reasons = sa.select(curves.c.fan, curves.c.reason).where(curves.c.reason.is_not(None))
        told = {row.fan: row.reason for row in connection.execute(reasons.order_by(curves.c.epoch))}
        if last is None:
            return found, told
        query = (
            sa.select(*(daily.c[name] for name in _RECENT))
            .where(daily.c.date > last - dt.timedelta(days=LINE_DAYS), daily.c.slip_pct.is_not(None))
            .order_by(daily.c.fan, daily.c.date)
        )
        for row in connection.execute(query):
            if row.slip_ref_pct is not None:
                found.setdefault(row.fan, []).append(dict(row._mapping))
    return found, told


def _row(
    site: SiteFolder,
    fan: FanStanding,
    days: Sequence[Mapping[str, Any]],
    reason: str,
    last: dt.date | None,
    is_first: bool,
) -> FleetRow:
    epoch = site.epochs(fan.fan)[-1]
    can_slip = epoch.machine.drive.can_slip
    is_drawn = can_slip and last is not None
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
        lines=polylines([(day["date"], day["slip_ref_pct"]) for day in days], last)
        if is_drawn and last
        else (),
        watch_height=round(line_height(epoch.limits.slip_watch_pct), 1),
        cause=cause,
        share=share,
        done=_last_service(site, fan.fan, days, epoch),
        unseen=unseen(fan, reason),
    )


def _before_lost(days: Sequence[Mapping[str, Any]]) -> float | None:
    """Return the slip of the last day on which the wheel still turned with the motor."""
    slips = (day["slip_ref_pct"] for day in reversed(days))
    return next((slip for slip in slips if slip < _LOST_PCT), None)


def slip_measure(row: Mapping[str, Any] | None, epoch: FanEpoch) -> Measure | None:
    """Return slip at the reference torque with its interval, if the row has one."""
    numbers = _numbers(row, "slip_ref")
    if numbers is None:
        return None
    limits = epoch.limits
    return Measure(*numbers, interval(*numbers, limits.slip_watch_pct, limits.slip_act_pct))


def drag_measure(row: Mapping[str, Any] | None, epoch: FanEpoch) -> Measure | None:
    """Return the rise of drive loss beside slip with its interval, if the row has one."""
    numbers = _numbers(row, "drag_ref")
    if numbers is None:
        return None
    limits = epoch.limits
    drawn = drag_interval(*numbers, limits.drive_loss_rise_watch_pct, limits.drive_loss_rise_act_pct)
    return Measure(*numbers, drawn)


def _numbers(row: Mapping[str, Any] | None, name: str) -> tuple[float, float, float] | None:
    if row is None:
        return None
    centre, low, high = (row[f"{name}{end}_pct"] for end in ("", "_low", "_high"))
    if centre is None or low is None or high is None:
        return None
    return centre, low, high


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
        lasting = [CAUSE_WORDS[alert.cause] for alert in fan.alerts if alert.cause is not Cause.NOT_JUDGED]
        today = cause_words(fan.judged)
        return (f"{today} lately; still open: {lasting[0]}" if lasting else today), None
    return cause_words(fan.judged), fan.judged["cause_share"]


def _last_service(
    site: SiteFolder, fan: str, days: Sequence[Mapping[str, Any]], epoch: FanEpoch
) -> ServiceDone | None:
    entries = [entry for entry in site.service if entry.fan == fan]
    if not entries:
        return None
    latest = sorted(entries, key=lambda e: e.date)[-2:]
    done = services_done(latest, epoch, days)
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
