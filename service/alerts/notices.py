"""What is written when an alert opens at act level or rises to it, is taken back, or is one of many."""

from collections.abc import Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

from analytics.vocabulary import AlertKind, AlertLevel, Cause
from config.folder import SiteFolder
from service.alerts.changes import Change
from service.alerts.common_cause import Common, What, building_of
from service.alerts.identity import Row
from service.notices import Fact, Notice, page_facts, place_facts, tell_first
from service.notices.trade import trade_of
from service.store.fleet import Standing
from service.words import capital, one_line, plain_date, sureness, told_cause

_MOST_NAMED: Final = 40
_MEASURES: Final = {
    AlertKind.BELT_SLIP: ("slip_ref", "Slip at the reference torque"),
    AlertKind.DRIVE_LOSS: ("drag_ref", "Rise of drive loss beside slip, at the reference torque"),
}
_LOOK_FIRST: Final = {
    What.ALERTS: (
        "One cause in common is likelier than that many faults at once: a power cut, a clock that was put, a "
        "trend source, a setting. Look there first, then at each fan."
    ),
    What.TOGETHER: (
        "They were found in one go, so they are named in one message. If they began on one day, look first "
        "for what they have in common; each has its own line in the weekly mail."
    ),
    What.SILENCE: (
        "The exports hold nothing of them since, while the fans may well be running: a trend source, a "
        "clock that was put back, a network or a power cut. Until readings come none of them is watched."
    ),
    What.AHEAD: (
        "Their latest readings are stamped later than it is now: the clock of a trend source was put forward "
        "or has the wrong zone. Put it right and export those hours again."
    ),
}


def act_notice(site: SiteFolder, change: Change, row: Row, latest: Row | None) -> Notice:
    """Return what is told at once of one alert at act level; `latest` the last row of the fan's ledger."""
    fan = change.fan
    epoch = site.epoch_at(fan, row["opened_on"]) or site.epochs(fan)[0]
    cause, kind = Cause(row["cause"]), AlertKind(row["kind"])
    name = one_line(fan)
    facts = (
        *place_facts(epoch),
        Fact("Found", str(row["message"])),
        Fact("Since", _since(row, site.site.zone)),
        *_now(kind, latest),
        Fact("Likely", _likely(kind, cause, row)),
        Fact("Tell first", tell_first(epoch)),
        *page_facts(site, fan),
    )
    return Notice(
        occasion=f"alert:{change.alert_id}:act",
        kind="alert",
        subject=f"{how_soon(kind).capitalize()}: {name}: {row['topic']}: {one_line(site.site.name)}",
        said=(_opening(name, row),),
        facts=facts,
        buildings=_of(epoch.building),
        trade=trade_of(kind, AlertLevel(row["level"]), row["topic"], _causes(row)),
        is_visit=True,
        details=details_of(change.alert_id, row) | {"building": epoch.building, "location": epoch.location},
    )


def how_soon(kind: AlertKind) -> str:
    """Return how soon an alert at act level wants a person, in the words of the fleet page."""
    is_drive = kind in (AlertKind.BELT_SLIP, AlertKind.DRIVE_LOSS)
    return Standing.GO_SOON.value if is_drive else Standing.GO_NOW.value


def taken_back_notice(site: SiteFolder, change: Change, row: Row) -> Notice:
    """Return what is told once of an alert that was told of and that new data take back."""
    name = one_line(change.fan)
    said = (
        f"{name}: the alert of {plain_date(row['opened_on'])} ({row['topic']}) is taken back. Readings, "
        "service entries or settings that came after it was told no longer show it. Nobody need go because "
        "of it; what was found there in the meantime still counts, so please enter it in the service log."
    )
    return Notice(
        occasion=f"alert:{change.alert_id}:taken back:{row['closed_on']}",
        kind="taken back",
        subject=f"Taken back: {name}: {row['topic']}: {one_line(site.site.name)}",
        said=(said,),
        buildings=_of(building_of(site, change.fan)),
        trade=trade_of(AlertKind(row["kind"]), AlertLevel(row["level"]), row["topic"], _causes(row)),
        details=details_of(change.alert_id, row),
    )


def common_notice(site: SiteFolder, common: Common, words: Mapping[str, str]) -> Notice:
    """Return the one notice of fans that share a cause; `words` what is said of each of them."""
    place = one_line(common.place) if common.place else one_line(site.site.name)
    many = f"{len(common.fans)} of {common.watched} fans"
    happened = {
        What.ALERTS: f"{many} of {place} alerted on {plain_date(common.date)}",
        What.TOGETHER: f"{many} of {place} were found past a limit",
        What.SILENCE: f"{many} of {place} have sent no reading since {plain_date(common.date)}",
        What.AHEAD: f"{many} of {place} send readings of the future",
    }[common.what]
    rest = len(common.fans) - _MOST_NAMED
    more = (f"The first {_MOST_NAMED} are named here; the fleet page names all.",) if rest > 0 else ()
    return Notice(
        occasion=f"common:{common.place}:{common.what}:{common.date}",
        kind="common cause",
        subject=f"One cause? {happened}: {one_line(site.site.name)}",
        said=(f"{happened}.", _LOOK_FIRST[common.what], *more),
        entries=tuple(Fact(one_line(fan), words.get(fan, "")) for fan in common.fans[:_MOST_NAMED]),
        buildings=_of(common.place),
        is_visit=common.what in (What.ALERTS, What.TOGETHER),
        details={
            "place": common.place,
            "what": common.what.value,
            "date": str(common.date),
            "fans": list(common.fans),
            "watched": common.watched,
        },
    )


def details_of(alert_id: int, row: Row) -> dict[str, Any]:
    """Return an alert as a program reads it."""
    plain = {
        "fan": row["fan"],
        "kind": row["kind"],
        "topic": row["topic"],
        "level": row["level"],
        "opened_on": str(row["opened_on"]),
        "opened_at": f"{row['opened_at']:%Y-%m-%dT%H:%M:%SZ}",
        "act_on": None if row["act_on"] is None else str(row["act_on"]),
        "cause": row["cause"],
        "cause_share": row["cause_share"],
        "closed_on": None if row["closed_on"] is None else str(row["closed_on"]),
        "closed_by": row["closed_by"],
    }
    return {"alert": alert_id, **plain}


def _of(building: str | None) -> tuple[str, ...]:
    return (building,) if building else ()


def _opening(name: str, row: Row) -> str:
    began = "has risen to act level" if row["act_on"] != row["opened_on"] else "is at act level"
    return f"{name}: {row['topic']}; the alert {began}."


def _since(row: Row, zone: ZoneInfo) -> str:
    local = row["opened_at"].astimezone(zone)
    read = f"decided on readings up to {local:%H:%M} on {plain_date(local.date())}"
    told = f"{plain_date(row['opened_on'])}; {read}"
    if row["act_on"] is not None and row["act_on"] != row["opened_on"]:
        told = f"{told}; at act level since {plain_date(row['act_on'])}"
    return f"{told} (plant time)."


def _now(kind: AlertKind, latest: Row | None) -> tuple[Fact, ...]:
    if latest is None or kind not in _MEASURES:
        return ()
    name, what = _MEASURES[kind]
    centre, low, high = (latest[f"{name}{end}_pct"] for end in ("", "_low", "_high"))
    said = f"{what} {centre:.1f} % (95 %: {low:.1f} to {high:.1f}) on {plain_date(latest['date'])}."
    return (Fact("Now", said),)


def _causes(row: Row) -> tuple[Cause, ...]:
    return _alike(row) or (Cause(row["cause"]),)


def _alike(row: Row) -> tuple[Cause, ...]:
    return tuple(Cause(cause) for cause in row["alike"])


def _likely(kind: AlertKind, cause: Cause, row: Row) -> str:
    said = capital(told_cause(cause, _alike(row)))
    if row["topic"] in ("drive lost", "stopped though commanded"):
        return "Decided on the raw readings, not on the healthy curves."
    if kind is AlertKind.NOTICE or cause is Cause.UNCLEAR:
        return f"{said}."
    return f"{said}: {sureness(row['cause_share'])}."
