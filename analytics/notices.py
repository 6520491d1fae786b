"""Which notices does a fan's ledger call for: lost drives, other faults, silence, unlogged work?"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from analytics.episode import Episode, Event, JudgedDay, Service
from analytics.model import Parameter
from analytics.priors import HEALTHY_SLIP_PCT
from analytics.recovery import RECOVERY_DAYS
from analytics.service_effects import can_mend, ended_by
from analytics.unlogged import unlogged_recovery
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy

QUIET_DAYS = 10
SILENT_DAYS = 14
NO_DRIVE_FAULT = "no drive fault"
UNSURE_FAULT = "no drive fault, which is not sure"
UNLOGGED_TOPIC = "slip went away without work"
UNLOGGED_DAYS = 6
_OF_A_SHAFT = (Cause.SPEED_NOT_FOLLOWED, Cause.WHEEL)
_NOT_NOTICED = (Cause.NONE, Cause.UNCLEAR, Cause.NOT_JUDGED, Cause.BELT_SLIP, Cause.DRAG, Cause.DRIVE_LOST)


def event_episode(event: Event, services: Sequence[Service]) -> Episode:
    """Return the alert of a finding of raw readings; its end is the recovery, work until then the reason."""
    closed_by = None
    if event.ended_on is not None:
        was_served = any(
            event.date <= one.date <= event.ended_on and can_mend(one.work, one.role, event.cause)
            for one in services
        )
        closed_by = ClosedBy.SERVICE if was_served else ClosedBy.DATA
    kind = AlertKind.DRIVE_LOST if event.cause is Cause.DRIVE_LOST else AlertKind.NOTICE
    return Episode(
        kind,
        AlertLevel.ACT,
        event.date,
        event.decided_at,
        event.date,
        event.cause,
        1.0,
        event.ended_on,
        closed_by,
        event.topic,
        100.0,
    )


def cause_notices(days: Sequence[JudgedDay], services: Sequence[Service]) -> list[Episode]:
    """Find the faults that are none of the drive: possible for hold_days judged days in a row.

    A day that cannot tell two of them apart leaves both possible: someone has to look all the same. One
    closes when it has not been possible for ten, for three after work that mends such a fault. What work has
    changed and is still being learned is no fault.
    """
    found: list[Episode] = []
    current: Episode | None = None
    held = absent = 0
    shared: frozenset[Cause] = frozenset()
    for day in days:
        if not day.is_judged or day.is_healthy_period:
            continue
        now = frozenset(_faults_besides(day))
        held = held + 1 if shared & now else 1
        shared = shared & now or now
        if current is None:
            if held >= day.limits.hold_days and shared:
                current = _besides(day, next(cause for cause in _faults_besides(day) if cause in shared))
                absent = 0
            continue
        absent = 0 if current.likeliest in now else absent + 1
        is_served = absent > 0 and any(
            current.opened_on <= one.date <= day.date and can_mend(one.work, one.role, current.likeliest)
            for one in services
        )
        if absent >= QUIET_DAYS or (is_served and absent >= RECOVERY_DAYS):
            closed_by = ClosedBy.SERVICE if is_served else ClosedBy.DATA
            found.append(replace(current, closed_on=day.date, closed_by=closed_by))
            current = None
    return found if current is None else [*found, current]


def is_noticed(day: JudgedDay) -> bool:
    """Tell whether a judged day shows a fault that is none of the drive and that no work has brought."""
    return bool(_faults_besides(day))


def _faults_besides(day: JudgedDay) -> tuple[Cause, ...]:
    """Return the faults that may explain a day, the likelier first, if none of them is the drive's."""
    possible = day.alike if day.cause is Cause.UNCLEAR else (day.cause,)
    is_other = all(cause not in _NOT_NOTICED and cause not in day.expected for cause in possible)
    return possible if is_other else ()


def _besides(day: JudgedDay, lasting: Cause) -> Episode:
    # The cause that has been possible on every day comes first.
    rest = tuple(cause for cause in day.alike if cause is not lasting)
    is_named = day.cause is lasting
    told = _notice(day, lasting if is_named else Cause.UNCLEAR)
    return replace(
        told,
        topic=NO_DRIVE_FAULT if is_named else UNSURE_FAULT,
        alike=() if is_named else (lasting, *rest),
    )


def _notice(day: JudgedDay, cause: Cause) -> Episode:
    # On a drive that cannot slip, slip's signature is a wheel loose on its shaft or a command not followed.
    is_grave = not day.can_slip and all(one in _OF_A_SHAFT for one in _faults_besides(day))
    return Episode(
        AlertKind.NOTICE,
        AlertLevel.ACT if is_grave else AlertLevel.WATCH,
        day.date,
        day.last_reading,
        day.date if is_grave else None,
        cause,
        day.cause_share,
        None,
        None,
        NO_DRIVE_FAULT,
        day.slip_ref_pct,
    )


def silences(days: Sequence[JudgedDay]) -> list[Episode]:
    """Find where fourteen operating days in a row had a verdict due and none could be given."""
    found: list[Episode] = []
    silent: list[JudgedDay] = []
    for day in days:
        # A lost drive is no silence, and before the healthy period is over none was to be broken.
        if not day.is_judged and day.is_awaited and day.cause is Cause.NOT_JUDGED:
            silent.append(day)
            continue
        if len(silent) >= SILENT_DAYS:
            found.append(replace(_silence(silent), closed_on=day.date, closed_by=ClosedBy.DATA))
        silent = []
    return [*found, _silence(silent)] if len(silent) >= SILENT_DAYS else found


def _silence(silent: Sequence[JudgedDay]) -> Episode:
    day = silent[SILENT_DAYS - 1]
    return Episode(
        AlertKind.NOTICE,
        AlertLevel.WATCH,
        day.date,
        day.last_reading,
        None,
        Cause.NOT_JUDGED,
        1.0,
        None,
        None,
        "not judged",
        day.slip_ref_pct,
    )


def unlogged_work(days: Sequence[JudgedDay], services: Sequence[Service]) -> list[Episode]:
    """Find where slip went away though no work was logged: ask for the entry.

    Closed after ten judged days; an entry put in later takes it back.
    """
    found: list[Episode] = []
    counted: list[tuple[dt.date, float]] = []
    ending = [one.date for one in services if Parameter.SLIP in ended_by(one.work, one.role)]
    age = 0
    for day in days:
        if not (day.is_judged and day.can_slip) or day.is_healthy_period:
            continue
        counted = [*counted[-UNLOGGED_DAYS + 1 :], (day.date, day.slip_ref_pct)]
        if found and found[-1].closed_on is None:
            age += 1
            if age >= QUIET_DAYS:
                found[-1] = replace(found[-1], closed_on=day.date, closed_by=ClosedBy.DATA)
            continue
        known = [date for date in ending if date <= day.date]
        if unlogged_recovery(counted, known, day.limits.slip_watch_pct, HEALTHY_SLIP_PCT[0]) is None:
            continue
        told = _notice(day, Cause.BELT_SLIP)
        found.append(replace(told, level=AlertLevel.WATCH, act_on=None, topic=UNLOGGED_TOPIC))
        age = 0
    return found
