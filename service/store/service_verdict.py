"""Whether work done shows in the data, in the same words wherever people are told."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from analytics.ledger import CAUSE_OF
from analytics.recovery import RECOVERY_DAYS, Recovered, Recovery, healthy_of, measured_by, recovery
from analytics.service_effects import ended_by
from analytics.vocabulary import AlertKind, Cause, ClosedBy
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from service.words import CAUSE_WORDS

Row = Mapping[str, Any]

VERDICT_WORDS: Final[dict[Recovery, str]] = {
    Recovery.CAME_BACK: "put right, and the data agree",
    Recovery.IN_PART: "better in part",
    Recovery.NOT: "no better by the data",
    Recovery.TOO_EARLY: "too early to say",
    Recovery.NOTHING_WRONG: "nothing had to be put right",
    Recovery.UNKNOWN: "nothing to hold it against",
}
_MEASURED: Final = {
    AlertKind.BELT_SLIP: ("slip_ref_pct", "slip at the reference torque"),
    AlertKind.DRIVE_LOSS: ("drag_ref_pct", "the rise of drive loss beside slip"),
}


@dataclass(frozen=True, slots=True)
class ServiceVerdict:
    """A verdict in words and what it rests on; `is_news` where it says more than that nothing was wrong."""

    words: str
    rests_on: str
    is_news: bool


def service_verdict(
    entry: ServiceEntry,
    epoch: FanEpoch,
    rows: Sequence[Row],
    notices: Sequence[Row] | None,
    day: dt.date,
    later: Sequence[ServiceEntry] = (),
) -> ServiceVerdict | None:
    """Judge work by what was known at the end of a plant day; None where no reading shows such work.

    Parameters: `rows` of the fan's ledger in order; `notices`, its alerts, None where they are not
    known; `later` entries of the fan.
    """
    kind = measured_by(entry.work, entry.role, can_slip=epoch.machine.drive.can_slip)
    if kind is not None:
        return _measured(entry, epoch, rows, kind, day, later)
    causes = {CAUSE_OF[one] for one in ended_by(entry.work, entry.role)}
    return _noticed(entry, notices, causes, day) if causes and notices is not None else None


def is_of_drive(entry: ServiceEntry, epoch: FanEpoch) -> bool:
    """Tell whether work should bring down slip or drive loss."""
    return measured_by(entry.work, entry.role, can_slip=epoch.machine.drive.can_slip) is not None


def _measured(
    entry: ServiceEntry,
    epoch: FanEpoch,
    rows: Sequence[Row],
    kind: AlertKind,
    day: dt.date,
    later: Sequence[ServiceEntry],
) -> ServiceVerdict:
    column, what = _MEASURED[kind]
    limits = epoch.limits
    watch = limits.slip_watch_pct if kind is AlertKind.BELT_SLIP else limits.drive_loss_rise_watch_pct
    counted = [(row["date"], row[column]) for row in rows if _counts(row, column) and row["date"] <= day]
    again = [
        one.date
        for one in later
        if entry.date < one.date <= day
        and measured_by(one.work, one.role, can_slip=epoch.machine.drive.can_slip) is kind
    ]
    found = recovery(counted, entry.date, watch, healthy_of(kind), min(again, default=None))
    return ServiceVerdict(
        VERDICT_WORDS[found.recovery],
        _rests_on(found, what),
        found.recovery not in (Recovery.UNKNOWN, Recovery.NOTHING_WRONG),
    )


def _counts(row: Row, column: str) -> bool:
    is_judged = row["cause"] not in (Cause.NOT_JUDGED.value, Cause.DRIVE_LOST.value)
    return is_judged and not row["is_healthy_period"] and row[column] is not None


def _rests_on(found: Recovered, what: str) -> str:
    if found.before_pct is None:
        return "no judged day in the three weeks before it"
    was = f"{what} was {found.before_pct:.1f} % before it"
    if found.recovery is Recovery.NOTHING_WRONG:
        now = "" if found.after_pct is None else f", and is {found.after_pct:.1f} % after it"
        return f"{was}, below the watch limit{now}"
    if found.after_pct is None:
        return f"{found.judged_days} of {RECOVERY_DAYS} judged days after two of run-in; {was}"
    again = ", judged again a fortnight after the work" if found.is_second else ""
    told = f"{was} and is {found.after_pct:.1f} % over the last {RECOVERY_DAYS} judged days{again}"
    if found.recovery is Recovery.IN_PART:
        return f"{told}: {100.0 * found.share_gone:.0f} % of what was too much is gone"
    return told


def _noticed(entry: ServiceEntry, notices: Sequence[Row], causes: set[Cause], day: dt.date) -> ServiceVerdict:
    mine = [
        row
        for row in notices
        if row["opened_on"] <= min(entry.date, day)
        and row["kind"] == AlertKind.NOTICE.value
        and Cause(row["cause"]) in causes
        and (row["closed_on"] is None or row["closed_on"] >= entry.date)
    ]
    if not mine:
        words = VERDICT_WORDS[Recovery.NOTHING_WRONG]
        return ServiceVerdict(words, "the data had shown nothing of the kind before it", is_news=False)
    what = " and ".join(dict.fromkeys(CAUSE_WORDS[Cause(row["cause"])] for row in mine))
    closed = [row for row in mine if row["closed_on"] is not None and row["closed_on"] <= day]
    if len(closed) < len(mine):
        return ServiceVerdict("not yet seen in the data", f"still: {what}", is_news=True)
    is_by_service = all(row["closed_by"] == ClosedBy.SERVICE.value for row in closed)
    words = VERDICT_WORDS[Recovery.CAME_BACK] if is_by_service else "gone by the data"
    return ServiceVerdict(words, f"no longer: {what}", is_news=True)
