"""The lists after the visits: for the controls contractor, for the next round, who could not be judged."""

from collections import Counter
from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import AlertKind, AlertLevel, Cause, Role
from service.mail.known import Known
from service.mail.writing import capital, one_line, plain_date
from service.store.fleet import FanStanding, OpenAlert
from service.words import CAUSE_WORDS, LOOK_AT

_POINTS: Final[dict[Cause, tuple[Role, ...]]] = {
    Cause.AIRFLOW_SENSOR: (Role.AIRFLOW,),
    Cause.PRESSURE_SENSOR: (Role.PRESSURE,),
    Cause.CURRENT_SENSOR: (Role.TORQUE, Role.POWER, Role.CURRENT),
    Cause.SPEED_NOT_FOLLOWED: (Role.SPEED, Role.MOTOR_SPEED),
}
_HEALTHY_NOTE: Final = "healthy period"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a list: a fan and what is said of it."""

    fan: str
    text: str


def is_for_controls(alert: OpenAlert) -> bool:
    """Tell whether an alert is a sensor's or a command's fault and no drive's.

    A drive that cannot slip and turns slower than told may have its wheel loose: that wants a visit first.
    """
    is_grave = alert.level is AlertLevel.ACT and alert.topic == "no drive fault"
    return alert.kind is AlertKind.NOTICE and alert.cause in _POINTS and not is_grave


def controls_entries(known: Known) -> tuple[Entry, ...]:
    """Return the sensor and command faults, each with its points, its place and what to check."""
    found = []
    for fan in known.fleet:
        for alert in fan.alerts:
            if alert.cause not in _POINTS:
                continue
            epoch = known.epoch(fan.fan)
            points = [epoch.points[role] for role in _POINTS[alert.cause] if role in epoch.points]
            named = f" (point {', '.join(one_line(point) for point in points[:1])})" if points else ""
            place = one_line(", ".join(part for part in (epoch.building, epoch.location) if part))
            where = f" Where: {place}." if place else ""
            said = f"{capital(CAUSE_WORDS[alert.cause])}{named}, since {plain_date(alert.opened_on)}"
            found.append(Entry(one_line(fan.fan), f"{said}: {LOOK_AT[alert.cause]}.{where}"))
    return tuple(dict.fromkeys(found))


def round_entries(known: Known) -> tuple[Entry, ...]:
    """Return what is no drive fault and no sensor's: to be looked at when somebody is there anyway."""
    found = []
    for fan in known.fleet:
        for alert in fan.alerts:
            is_listed = alert.kind is AlertKind.NOTICE and alert.level is AlertLevel.WATCH
            if not is_listed or alert.cause in _POINTS or alert.cause is Cause.NOT_JUDGED:
                continue
            look_at = LOOK_AT.get(alert.cause, "have a look")
            said = f"{capital(CAUSE_WORDS[alert.cause])}, since {plain_date(alert.opened_on)}"
            found.append(Entry(one_line(fan.fan), f"{said}: {look_at}."))
    return tuple(found)


def unseen_entries(known: Known) -> tuple[Entry, ...]:
    """Return the fans of which no day of the week could be judged, and why."""
    fans = [fan for fan in known.fleet if not known.is_judged_this_week(fan.fan)]
    return tuple(Entry(one_line(fan.fan), _why(known, fan)) for fan in fans)


def _why(known: Known, fan: FanStanding) -> str:
    rows = known.this_week(fan.fan)
    notes = Counter(note for row in rows if (note := row["note"].removeprefix(f"{_HEALTHY_NOTE}; ")))
    if notes:
        note, count = notes.most_common(1)[0]
        days = f" (on {count} of the week's {len(rows)} operating days)" if len(rows) > 1 else ""
        return one_line(f"{note}{days}")
    if fan.fan in known.silent_why:
        return one_line(known.silent_why[fan.fan])
    if fan.row is None:
        return "no operating day with readings yet"
    return (
        f"no operating day with readings since {plain_date(fan.row['date'])}: it stood, or its trends stopped"
    )
