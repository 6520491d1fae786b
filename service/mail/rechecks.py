"""Whether work done shows in the data: what was put right, in part, not, or too lately to say."""

import datetime as dt
from typing import Final

from analytics.recovery import FOLLOWED_DAYS, SECOND_VERDICT_DAYS
from analytics.vocabulary import AlertKind
from config.service_log import ServiceEntry
from service.mail.known import Known
from service.mail.lists import Entry
from service.store.fleet import FanStanding, Standing
from service.store.service_verdict import ServiceVerdict, is_of_drive, service_verdict
from service.words import capital, one_line, plain_date

_WEEK: Final = dt.timedelta(days=7)
_SECOND_VERDICT: Final = dt.timedelta(days=SECOND_VERDICT_DAYS)
_FOLLOWED: Final = dt.timedelta(days=FOLLOWED_DAYS)


def rechecks(known: Known) -> tuple[Entry, ...]:
    """Return the work of the week, and earlier work of which the data say something new this week."""
    told = [(fan, entry) for fan in known.fleet for entry in known.served(fan.fan)]
    judged = [(fan, entry, _verdict(known, entry, known.last_day)) for fan, entry in told]
    return tuple(
        _entry(entry, verdict)
        for fan, entry, verdict in judged
        if verdict is not None and _is_told(known, fan, entry, verdict)
    )


def _is_told(known: Known, fan: FanStanding, entry: ServiceEntry, verdict: ServiceVerdict) -> bool:
    """Tell whether work is of this week, or its verdict new, due again after a fortnight or still open."""
    if known.last_day - entry.date > _FOLLOWED:
        return False
    if entry.date >= known.week.first or (is_waiting(known, fan) and _is_of_drive(known, entry)):
        return True
    is_due = known.week.first <= entry.date + _SECOND_VERDICT <= known.last_day
    before = _verdict(known, entry, known.last_day - _WEEK)
    return verdict.is_news and (is_due or before is None or verdict.words != before.words)


def _entry(entry: ServiceEntry, verdict: ServiceVerdict) -> Entry:
    return Entry(one_line(entry.fan), f"{_done(entry)}: {verdict.words}. {capital(verdict.rests_on)}.")


def verdict_since(known: Known, fan: str, opened_on: dt.date) -> Entry | None:
    """Return the verdict on the latest work done on a fan's drive since a day, None where there was none."""
    done = [entry for entry in known.served(fan) if entry.date >= opened_on and _is_of_drive(known, entry)]
    if not done:
        return None
    verdict = _verdict(known, done[-1], known.last_day)
    return None if verdict is None else _entry(done[-1], verdict)


def is_waiting(known: Known, fan: FanStanding) -> bool:
    """Tell whether a fan's drive was worked on and only its recovery is still to be shown.

    Its alerts stay open until three judged days after the run-in agree; until then nobody need go again.
    """
    if fan.row is None or fan.standing not in (Standing.GO_SOON, Standing.PLAN):
        return False
    limits, row = known.epoch(fan.fan).limits, fan.row
    is_below = (row["slip_ref_pct"] or 0.0) < limits.slip_watch_pct
    is_below = is_below and (row["drag_ref_pct"] or 0.0) < limits.drive_loss_rise_watch_pct
    opened_on = min(a.opened_on for a in fan.alerts if a.kind is not AlertKind.NOTICE)
    return is_below and any(e.date >= opened_on and _is_of_drive(known, e) for e in known.served(fan.fan))


def _done(entry: ServiceEntry) -> str:
    work = entry.work.value.replace("_", " ")
    note = f' ("{one_line(entry.note)}")' if entry.note else ""
    return f"{capital(work)} on {plain_date(entry.date)}{note}"


def _is_of_drive(known: Known, entry: ServiceEntry) -> bool:
    return is_of_drive(entry, known.epoch(entry.fan))


def _verdict(known: Known, entry: ServiceEntry, day: dt.date) -> ServiceVerdict | None:
    """Return what was known of a piece of work at the end of a day."""
    rows, notices = known.rows(entry.fan, day), known.notices.get(entry.fan, [])
    later = [one for one in known.served(entry.fan) if one.date <= day]
    return service_verdict(entry, known.epoch(entry.fan), rows, notices, day, later)
