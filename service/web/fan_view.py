"""All that the page of one fan shows; it reads that fan only."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import AlertKind, Cause, SpeedControl
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from service.store.check_commands import CommandFigure, command_figures
from service.store.check_figure import CheckFigure, NoCheckFigure, check_figure
from service.store.corrected import Correction, corrections
from service.store.due_words import due_words
from service.store.fleet import FanStanding, fleet
from service.store.ledger_tables import curves, daily, episodes, tachometer_pairs
from service.store.sight import NO_SIGHT, sight_from_json
from service.web.causes import Share, cause_words, ranked
from service.web.desk import Desk
from service.web.fan_evidence import EvidenceTable, evidence_table
from service.web.fleet_view import unseen
from service.web.marks import MARKS
from service.web.measures import Measure, drag_measure, slip_measure
from service.web.schedule import Fact, schedule
from service.web.service_done import ServiceDone, services_done
from service.web.verdict import Verdict, verdict

RECENT_DAYS: Final = 14


@dataclass(frozen=True, slots=True)
class Quality:
    """How much of the recent days could be used, and what the healthy period is.

    `hours`, `used` over the recent days; `not_judged` of them with the notes that say why; `healthy` in
    words; `flaws` of it; `sight` what the fan's points let be seen and which are not used.
    """

    days: int
    hours: float
    used: int
    not_judged: int
    notes: tuple[str, ...]
    healthy: str
    flaws: tuple[str, ...]
    sight: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FanPage:
    """One fan as its page shows it; `version` changes whenever a row of its ledger does."""

    fan: FanStanding
    epoch: FanEpoch
    mark: str
    verdict: Verdict
    slip: Measure | None
    drag: Measure | None
    shares: tuple[Share, ...]
    rows: tuple[Mapping[str, Any], ...]
    version: tuple[str, ...]
    recent: tuple[tuple[Mapping[str, Any], str], ...]
    opened: tuple[Any, ...]
    closed: tuple[Any, ...]
    services: tuple[ServiceDone, ...]
    due: tuple[str, ...]
    check: CheckFigure | NoCheckFigure | None
    commands: tuple[CommandFigure, ...]
    evidence: EvidenceTable | None
    corrected: tuple[Correction, ...]
    is_lost: bool
    quality: Quality
    schedule: tuple[tuple[str, tuple[Fact, ...]], ...]


def fan_page(desk: Desk, name: str) -> FanPage:
    """Read one fan's page."""
    site = desk.site
    epoch = site.epochs(name)[-1]
    standing = next(fan for fan in fleet(site, desk.store, [name]))
    columns = [column for column in daily.c if column.name != "state"]
    with desk.store.reader() as connection:
        found = sa.select(*columns).where(daily.c.fan == name).order_by(daily.c.date)
        rows = tuple(dict(row._mapping) for row in connection.execute(found))
        told = sa.select(episodes).where(episodes.c.fan == name)
        alerts = connection.execute(told.order_by(episodes.c.opened_at.desc())).all()
        fitted = sa.select(curves).where(curves.c.fan == name)
        learned = connection.execute(fitted.order_by(curves.c.epoch)).all()
        corrected = corrections(connection, name)
        taken = sa.select(tachometer_pairs).where(tachometer_pairs.c.fan == name)
        pairs = [dict(row._mapping) for row in connection.execute(taken)]
    entries = site.entries(name)
    whole = next((row for row in reversed(rows) if row["cause"] != Cause.DRIVE_LOST.value), None)
    reason = (learned[-1].reason or "") if learned else ""
    why_unseen = unseen(standing, reason)
    check = check_figure(site, desk.store, name, rows[-1]["date"]) if rows else None
    judged = standing.judged
    return FanPage(
        fan=standing,
        epoch=epoch,
        mark=MARKS[standing.standing],
        verdict=verdict(standing, epoch, why_unseen),
        slip=slip_measure(whole, epoch) if epoch.machine.drive.can_slip else None,
        drag=drag_measure(standing.row, epoch),
        shares=ranked(standing.judged["shares"]) if standing.judged else (),
        rows=rows,
        version=tuple(row["digest"] for row in rows),
        recent=tuple((row, cause_words(row)) for row in reversed(rows[-RECENT_DAYS:])),
        opened=tuple(alert for alert in alerts if alert.closed_on is None),
        closed=tuple(alert for alert in alerts if alert.closed_on is not None),
        services=services_done(entries, epoch, rows, [dict(alert._mapping) for alert in alerts], pairs),
        due=_due(epoch, entries, rows, standing, check),
        check=check,
        commands=_commands(desk, name, epoch, check),
        evidence=None if judged is None else evidence_table(desk, name, judged["date"]),
        corrected=corrected,
        is_lost=any(alert.kind is AlertKind.DRIVE_LOST for alert in standing.alerts),
        quality=_quality(rows, learned),
        schedule=schedule(epoch, site.site.units),
    )


def _due(
    epoch: FanEpoch,
    entries: Sequence[ServiceEntry],
    rows: Sequence[Mapping[str, Any]],
    standing: FanStanding,
    check: CheckFigure | NoCheckFigure | None,
) -> tuple[str, ...]:
    """Return what the calendar and the readings say is due, as of the fan's last row."""
    if not rows:
        return ()
    day = rows[-1]["date"]
    done = sorted((e for e in entries if e.date <= day), key=lambda e: (e.date, e.time or dt.time()))
    wheel_rpm = check.tight_rpm if isinstance(check, CheckFigure) else None
    return due_words(epoch, done, rows, day, standing.hours_a_day, wheel_rpm)


def _commands(
    desk: Desk, name: str, epoch: FanEpoch, check: CheckFigure | NoCheckFigure | None
) -> tuple[CommandFigure, ...]:
    """Return the check figures of a fan whose speed can be commanded."""
    if not isinstance(check, CheckFigure) or epoch.machine.speed_control is not SpeedControl.VFD:
        return ()
    return command_figures(desk.site, desk.store, name, check, epoch.machine.max_speed_fraction)


def _quality(rows: Sequence[Mapping[str, Any]], learned: Sequence[Any]) -> Quality:
    recent = rows[-RECENT_DAYS:]
    told = sight_from_json(learned[-1].sight) if learned else NO_SIGHT
    notes = tuple(dict.fromkeys(row["note"] for row in recent if row["slip_pct"] is None and row["note"]))
    return Quality(
        len(recent),
        sum(row["hours"] for row in recent),
        sum(row["hours_used"] for row in recent),
        sum(row["slip_pct"] is None for row in recent),
        notes,
        _healthy_words(learned),
        tuple(_sentence(words) for words in told.quality_words),
        tuple(_sentence(words) for words in (*told.refused_words, told.seen_words) if words),
    )


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _healthy_words(learned: Sequence[Any]) -> str:
    if not learned:
        return "There is none yet: pull the exports and assess, and the first healthy days are learned from."
    last = learned[-1]
    if last.fitted is None:
        return f"No healthy curves: {last.reason}."
    fitted = last.fitted
    pressure, load = (100.0 * fitted[f"{name}_cv_rmse"] for name in ("pressure", "load"))
    return (
        f"{_day(last.first_date)} to {_day(last.last_date)}: {fitted['hours']} steady hours on "
        f"{fitted['days']} days. The healthy curves miss an hour's pressure by {pressure:.1f} % and its load "
        f"by {load:.1f} % (root mean square)."
    )


def _day(date: dt.date | None) -> str:
    return "the beginning" if date is None else f"{date.day} {date:%b %Y}"
