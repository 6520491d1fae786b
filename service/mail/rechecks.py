"""Whether work done shows in the data: what was put right, in part, not, or too lately to say."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analytics.episodes import RECOVERY_DAYS, RUN_IN_DAYS, has_recovered
from analytics.ledger import CAUSE_OF
from analytics.model import Parameter
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.service_effects import ended_by
from analytics.vocabulary import AlertKind, Cause, ClosedBy, Work
from config.service_log import ServiceEntry
from service.mail.known import Known
from service.mail.lists import Entry
from service.mail.writing import Row, capital
from service.store.fleet import FanStanding, Standing
from service.words import CAUSE_WORDS, one_line, plain_date

_WEEK: Final = dt.timedelta(days=7)
_SECOND_VERDICT: Final = dt.timedelta(days=14)
_FOLLOWED: Final = dt.timedelta(days=35)
_BEFORE: Final = dt.timedelta(days=21)
_PART: Final = 0.25
_UNKNOWN: Final = "nothing to hold it against"
_NOTHING: Final = "nothing had to be put right"


@dataclass(frozen=True, slots=True)
class _Measure:
    """What a piece of work should bring down: the ledger's column, in words, healthy value and limit."""

    column: str
    words: str
    healthy_pct: float
    watch_pct: float


def rechecks(known: Known) -> tuple[Entry, ...]:
    """Return the work of the week, and earlier work of which the data say something new this week."""
    return tuple(
        _entry(entry, _verdict(known, entry, known.last_day))
        for fan in known.fleet
        for entry in known.served(fan.fan)
        if ended_by(entry.work, entry.role) and _is_told(known, fan, entry)
    )


def _is_told(known: Known, fan: FanStanding, entry: ServiceEntry) -> bool:
    """Tell whether work is of this week, or its verdict new, due again after a fortnight or still open."""
    if known.last_day - entry.date > _FOLLOWED:
        return False
    if entry.date >= known.week.first or (is_waiting(known, fan) and _is_of_drive(entry)):
        return True
    is_due = known.week.first <= entry.date + _SECOND_VERDICT <= known.last_day
    verdict, _ = _verdict(known, entry, known.last_day)
    before, _ = _verdict(known, entry, known.last_day - _WEEK)
    return verdict not in (_UNKNOWN, _NOTHING) and (is_due or verdict != before)


def _entry(entry: ServiceEntry, verdict: tuple[str, str]) -> Entry:
    return Entry(one_line(entry.fan), f"{_done(entry)}: {verdict[0]}. {capital(verdict[1])}.")


def verdict_since(known: Known, fan: str, opened_on: dt.date) -> Entry | None:
    """Return the verdict on the latest work done on a fan's drive since a day, None where there was none."""
    done = [entry for entry in known.served(fan) if entry.date >= opened_on and _is_of_drive(entry)]
    if not done:
        return None
    return _entry(done[-1], _verdict(known, done[-1], known.last_day))


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
    return is_below and any(e.date >= opened_on and _is_of_drive(e) for e in known.served(fan.fan))


def _is_of_drive(entry: ServiceEntry) -> bool:
    ended = ended_by(entry.work, entry.role)
    return Parameter.SLIP in ended or Parameter.DRAG in ended


def _done(entry: ServiceEntry) -> str:
    work = entry.work.value.replace("_", " ")
    note = f' ("{one_line(entry.note)}")' if entry.note else ""
    return f"{capital(work)} on {plain_date(entry.date)}{note}"


def _verdict(known: Known, entry: ServiceEntry, day: dt.date) -> tuple[str, str]:
    """Return the verdict's word and what it rests on, as of a day."""
    ended = ended_by(entry.work, entry.role)
    if _is_of_drive(entry):
        return _measured(known, entry, _measure(known, entry), day)
    return _noticed(known, entry, {CAUSE_OF[one] for one in ended}, day)


def _measure(known: Known, entry: ServiceEntry) -> _Measure:
    epoch = known.epoch(entry.fan)
    ended = ended_by(entry.work, entry.role)
    if Parameter.SLIP in ended and epoch.machine.drive.can_slip and entry.work is not Work.RETROFIT:
        watch = epoch.limits.slip_watch_pct
        return _Measure("slip_ref_pct", "slip at the reference torque", HEALTHY_SLIP_PCT[0], watch)
    watch = epoch.limits.drive_loss_rise_watch_pct
    return _Measure("drag_ref_pct", "the rise of drive loss beside slip", 0.0, watch)


def _measured(known: Known, entry: ServiceEntry, measure: _Measure, day: dt.date) -> tuple[str, str]:
    rows = [row for row in known.rows(entry.fan, day) if _counts(row)]
    counted = [(row["date"], row[measure.column]) for row in rows]
    earlier = [value for date, value in counted if entry.date - _BEFORE <= date < entry.date]
    after = [value for date, value in counted if (date - entry.date).days > RUN_IN_DAYS]
    before = max(earlier, default=None)
    if before is None:
        return _UNKNOWN, "no judged day in the three weeks before it"
    if before < measure.watch_pct:
        low = f"{measure.words} was {before:.1f} % before it, below the watch limit"
        return _NOTHING, low + (f", and is {after[-1]:.1f} % now" if after else "")
    if len(after) < RECOVERY_DAYS:
        days = f"{len(after)} of {RECOVERY_DAYS} judged days after two of run-in"
        return "too early to say", f"{days}; {measure.words} was {before:.1f} % before it"
    mean = sum(after[-RECOVERY_DAYS:]) / RECOVERY_DAYS
    told = (
        f"{measure.words} was {before:.1f} % before it and is {mean:.1f} % over the last {RECOVERY_DAYS} days"
    )
    if has_recovered(counted, entry.date, before, measure.watch_pct, measure.healthy_pct):
        return "put right, and the data agree", told
    share = (before - mean) / (before - measure.healthy_pct)
    if share >= _PART:
        return "better in part", f"{told}: {100.0 * share:.0f} % of what was too much is gone"
    return "no better by the data", told


def _counts(row: Row) -> bool:
    is_judged = row["cause"] not in (Cause.NOT_JUDGED.value, Cause.DRIVE_LOST.value)
    return is_judged and not row["is_healthy_period"]


def _noticed(known: Known, entry: ServiceEntry, causes: set[Cause], day: dt.date) -> tuple[str, str]:
    told = [row for row in known.notices.get(entry.fan, []) if row["opened_on"] <= min(entry.date, day)]
    mine = [
        row
        for row in told
        if row["kind"] == AlertKind.NOTICE.value
        and Cause(row["cause"]) in causes
        and (row["closed_on"] is None or row["closed_on"] >= entry.date)
    ]
    if not mine:
        return _NOTHING, "the data had shown nothing of the kind before it"
    return _closing(mine, day)


def _closing(mine: Sequence[Row], day: dt.date) -> tuple[str, str]:
    words = " and ".join(dict.fromkeys(CAUSE_WORDS[Cause(row["cause"])] for row in mine))
    closed = [row for row in mine if row["closed_on"] is not None and row["closed_on"] <= day]
    if len(closed) == len(mine):
        is_by_service = all(row["closed_by"] == ClosedBy.SERVICE.value for row in closed)
        verdict = "put right, and the data agree" if is_by_service else "gone by the data"
        return verdict, f"no longer: {words}"
    return "not yet seen in the data", f"still: {words}"
