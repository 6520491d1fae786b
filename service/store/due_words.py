"""What is due by the calendar and what the readings say of work done: belts, grease, recovery."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

from analytics.recovery import FOLLOWED_DAYS, healthy_of
from analytics.relubrication import bearing_factor, relubrication_hours
from analytics.unlogged import unlogged_recovery
from analytics.vocabulary import AlertKind, BearingLubrication, Cause, Work
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from service.store.service_verdict import is_of_drive, service_verdict
from service.words import forecast_words, plain_date

Row = Mapping[str, Any]
_BELT_WORK: Final = (Work.BELT_REPLACED, Work.RETENSIONED)
_ENDS_SLIP: Final = (*_BELT_WORK, Work.ALIGNED, Work.SHEAVE_CHANGED, Work.TENSIONER_FITTED, Work.RETROFIT)
_GREASE_WORK: Final = (Work.GREASED, Work.BEARING_REPLACED)
_RECHECK_FIRST, _RECHECK_LAST = dt.timedelta(days=1), dt.timedelta(days=2)
_STALE_RECHECK: Final = dt.timedelta(days=42)


def due_words(
    epoch: FanEpoch,
    done: Sequence[ServiceEntry],
    rows: Sequence[Row],
    day: dt.date,
    hours_a_day: float,
    wheel_rpm: float | None,
) -> tuple[str, ...]:
    """Say what is due on a fan, and what the readings say of the work done on it.

    Parameters: `done`, the fan's entries up to `day` in order; `rows` of its ledger up to `day` in order.
    """
    found = (
        recheck_words(epoch, done, day),
        _forecast(rows),
        grease_words(epoch, done, day, hours_a_day, wheel_rpm),
        _verdict(epoch, done, rows, day),
        _unlogged(epoch, done, rows, day),
    )
    return tuple(words for words in found if words)


def relubrication_interval(epoch: FanEpoch, wheel_rpm: float | None) -> float | None:
    """Return a greased bearing's interval in running hours, None where it is not known or not greased."""
    rpm = wheel_rpm or epoch.machine.design_wheel_rpm
    factor = None if epoch.bearing_type is None else bearing_factor(epoch.bearing_type)
    is_greased = epoch.bearing_lubrication is BearingLubrication.GREASE
    if not is_greased or factor is None or epoch.bearing_bore_mm is None or rpm is None:
        return None
    return float(relubrication_hours(rpm, epoch.bearing_bore_mm, factor))


def recheck_words(epoch: FanEpoch, done: Sequence[ServiceEntry], day: dt.date) -> str:
    """Say that a belt fitted or tightened lately wants its recheck, "" where none is due."""
    if not epoch.machine.drive.can_slip:
        return ""
    belts = [entry for entry in done if entry.work in _BELT_WORK]
    if not belts or day - belts[-1].date > _STALE_RECHECK:
        return ""
    last = belts[-1]
    word = "new belts" if last.work is Work.BELT_REPLACED else "retensioned"
    again = [
        entry.date for entry in done if entry.date > last.date and entry.work in (*_BELT_WORK, Work.INSPECTED)
    ]
    if again:
        return ""
    first, until = last.date + _RECHECK_FIRST, last.date + _RECHECK_LAST
    state = "due" if day <= until else "overdue"
    return (
        f"{word} {plain_date(last.date)}: recheck the tension after 24 to 48 h of running "
        f"({plain_date(first)} to {plain_date(until)}), {state}"
    )


def _forecast(rows: Sequence[Row]) -> str:
    judged = [row for row in rows if row["slip_pct"] is not None]
    return forecast_words(judged[-1]) if judged else ""


def grease_words(
    epoch: FanEpoch, done: Sequence[ServiceEntry], day: dt.date, hours_a_day: float, wheel_rpm: float | None
) -> str:
    """Say when bearings want grease by bore, kind and speed, "" where that is not known."""
    interval = relubrication_interval(epoch, wheel_rpm)
    if interval is None or hours_a_day <= 0.0:
        return ""
    greased = [entry.date for entry in done if entry.work in _GREASE_WORK]
    if not greased:
        return f"grease every {interval:,.0f} running hours; no greasing is in the log"
    run = (day - greased[-1]).days * hours_a_day
    due = greased[-1] + dt.timedelta(days=interval / hours_a_day)
    state = "overdue since" if due < day else "due about"
    return (
        f"greased {plain_date(greased[-1])}, about {run:,.0f} of {interval:,.0f} running hours ago: "
        f"{state} {plain_date(due)}"
    )


def _verdict(epoch: FanEpoch, done: Sequence[ServiceEntry], rows: Sequence[Row], day: dt.date) -> str:
    works = [e for e in done if is_of_drive(e, epoch) and (day - e.date).days <= FOLLOWED_DAYS]
    if not works:
        return ""
    found = service_verdict(works[-1], epoch, rows, None, day)
    if found is None or not found.is_news:
        return ""
    work = works[-1].work.value.replace("_", " ")
    return f"{work} {plain_date(works[-1].date)}: {found.words}; {found.rests_on}"


def _unlogged(epoch: FanEpoch, done: Sequence[ServiceEntry], rows: Sequence[Row], day: dt.date) -> str:
    if not epoch.machine.drive.can_slip:
        return ""
    skipped = (Cause.NOT_JUDGED.value, Cause.DRIVE_LOST.value)
    counted = [
        (row["date"], row["slip_ref_pct"])
        for row in rows
        if row["cause"] not in skipped and row["slip_ref_pct"] is not None and not row["is_healthy_period"]
    ]
    services = [entry.date for entry in done if entry.work in _ENDS_SLIP]
    healthy = healthy_of(AlertKind.BELT_SLIP)
    went = unlogged_recovery(counted, services, epoch.limits.slip_watch_pct, healthy)
    if went is None or (day - went).days > FOLLOWED_DAYS:
        return ""
    return (
        f"slip went away about {plain_date(went)} with no work in the log: belts do not heal. Was it "
        "serviced? "
        "Then enter it (slipledger log, with that date)"
    )
