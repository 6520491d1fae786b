"""The lists after the visits: for the controls contractor, for the next round, who could not be judged."""

from collections import Counter
from dataclasses import dataclass
from typing import Final

from analytics.episodes import DRIFT_TOPICS
from analytics.notices import UNLOGGED_TOPIC
from analytics.vocabulary import AlertKind, AlertLevel, Cause
from config.epoch import FanEpoch
from service.mail.known import Known
from service.notices.notice import Trade
from service.notices.trade import POINTS, trade_of
from service.store.fleet import FanStanding, OpenAlert
from service.words import about, capital, forecast_words, look_at, one_line, plain_date, told_cause

_HEALTHY_NOTE: Final = "healthy period"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a list: a fan and what is said of it."""

    fan: str
    text: str


def is_for_controls(alert: OpenAlert) -> bool:
    """Tell whether an alert is a sensor's or a command's fault and no drive's."""
    return trade_of(alert.kind, alert.level, alert.topic, alert.causes) is Trade.CONTROLS


def _what(alert: OpenAlert) -> str:
    return told_cause(alert.cause, alert.alike)


def controls_entries(known: Known) -> tuple[Entry, ...]:
    """Return the sensor and command faults, each with its points, its place and what to check."""
    found = []
    for fan in known.fleet:
        for alert in fan.alerts:
            if not POINTS.keys() >= set(alert.causes) or known.mark_on(alert) is not None:
                continue
            epoch = known.epoch(fan.fan)
            named = _points(epoch, alert)
            place = one_line(", ".join(part for part in (epoch.building, epoch.location) if part))
            where = f" Where: {place}." if place else ""
            said = f"{capital(_what(alert))}{named}, since {plain_date(alert.opened_on)}"
            found.append(Entry(one_line(fan.fan), f"{said}: {look_at(alert.cause, alert.alike)}.{where}"))
    return tuple(dict.fromkeys(found))


def _points(epoch: FanEpoch, alert: OpenAlert) -> str:
    """Return the point of each reading or command that may be at fault, in brackets."""
    mapped = [
        [epoch.points[role] for role in POINTS[cause] if role in epoch.points] for cause in alert.causes
    ]
    named = [one_line(points[0]) for points in mapped if points]
    return f" (point {', '.join(named)})" if named else ""


def round_entries(known: Known) -> tuple[Entry, ...]:
    """Return what is no drive fault and no sensor's: to be looked at when somebody is there anyway."""
    found = []
    for fan in known.fleet:
        for alert in fan.alerts:
            is_listed = alert.kind is AlertKind.NOTICE and alert.level is AlertLevel.WATCH
            is_listed = is_listed and known.mark_on(alert) is None
            if not is_listed or POINTS.keys() >= set(alert.causes) or alert.cause is Cause.NOT_JUDGED:
                continue
            look = look_at(alert.cause, alert.alike)
            said = f"{capital(_what(alert))}, since {plain_date(alert.opened_on)}"
            if alert.topic in DRIFT_TOPICS.values():
                said = f"{capital(alert.topic)} below its limit since {plain_date(alert.opened_on)}"
                ahead = "" if fan.judged is None else forecast_words(fan.judged)
                said += f"; {ahead}" if ahead else ""
                said += f"; {_what(alert)}"
            if alert.topic == UNLOGGED_TOPIC:
                said = f"Slip went away about {plain_date(alert.opened_on)} with no work in the log"
                look = "enter the work with its date, or check the readings"
            found.append(Entry(one_line(fan.fan), f"{said}: {look}."))
    return tuple(found)


def in_hand_entries(known: Known) -> tuple[Entry, ...]:
    """Return the alerts that somebody has taken in hand or set aside, and why: nobody is sent again."""
    found = []
    for fan in known.fleet:
        for alert in fan.alerts:
            mark = known.mark_on(alert)
            if mark is not None:
                until = f" until {plain_date(mark.until)}" if mark.until else ""
                since = plain_date(mark.true_from.astimezone(known.site.site.zone).date())
                why = f" ({one_line(mark.why)})" if mark.why else ""
                what = f"{capital(about(alert.topic, alert.cause, alert.alike))} ({alert.level.value})"
                said = f"{what}: {mark.handling.value}{until}"
                found.append(Entry(one_line(fan.fan), f"{said}, by {one_line(mark.who)} since {since}{why}."))
    return tuple(found)


def taken_back_entries(known: Known) -> tuple[Entry, ...]:
    """Return the alerts that people were told of and that data which came later no longer show."""
    watched = {fan.fan for fan in known.fleet}
    return tuple(
        Entry(
            one_line(row["fan"]),
            f"The alert of {plain_date(row['opened_on'])} ({row['topic']}) is taken back: what came later "
            "does not show it.",
        )
        for row in known.taken_back
        if row["fan"] in watched
    )


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
