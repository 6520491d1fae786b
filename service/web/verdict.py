"""A fan's verdict in one sentence, with its evidence and what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analytics.vocabulary import AlertKind, AlertLevel, Cause
from config.epoch import FanEpoch
from service.store.fleet import FanStanding, Standing
from service.web.causes import cause_words, ranked
from service.web.paper import one_decimal, plain_date, sureness
from service.words import EXCESS_IS, LOOK_AT, beside_slip, capital, forecast_words, look_at, what_decides


@dataclass(frozen=True, slots=True)
class Verdict:
    """The sentence, the sentences that say how we know, and what to look at at the fan."""

    sentence: str
    evidence: tuple[str, ...]
    to_do: str


def verdict(fan: FanStanding, epoch: FanEpoch, unseen: str) -> Verdict:
    """Return what a fan's page says first."""
    return Verdict(_sentence(fan, epoch, unseen), tuple(_evidence(fan, epoch, unseen)), _to_do(fan))


def _sentence(fan: FanStanding, epoch: FanEpoch, unseen: str) -> str:
    urgent = [a for a in fan.alerts if a.kind is AlertKind.DRIVE_LOST or _is_grave_notice(a)]
    if urgent:
        return f"Since {plain_date(urgent[0].opened_on)}: {urgent[0].message}"
    for kind, measured in ((AlertKind.BELT_SLIP, _slip), (AlertKind.DRIVE_LOSS, _drag)):
        for alert in fan.alerts:
            if alert.kind is kind:
                limit = "acting" if alert.level is AlertLevel.ACT else "watching"
                return f"{capital(cause_words(fan.judged))}. {measured(fan.row)}, past the limit for {limit}."
    if fan.standing is Standing.NOTE:
        return f"{fan.alerts[0].message} The drive itself is within its limits."
    if fan.standing is Standing.UNSEEN:
        return f"Not judged: {unseen or 'no judged day in fourteen'}."
    if not epoch.machine.drive.can_slip:
        return f"Nothing is past a limit. {_drag(fan.row)}; this drive cannot slip by belt."
    return f"The drive is tight. {_slip(fan.row)}, under its limit."


def _is_grave_notice(alert: Any) -> bool:
    return alert.kind is AlertKind.NOTICE and alert.level is AlertLevel.ACT


def _slip(row: Mapping[str, Any] | None) -> str:
    return f"Slip at the reference torque is {_measured(row, 'slip_ref')}"


def _drag(row: Mapping[str, Any] | None) -> str:
    return f"Drive loss beside slip has risen by {_measured(row, 'drag_ref')} of the reference torque"


def _measured(row: Mapping[str, Any] | None, name: str) -> str:
    if row is None or row[f"{name}_pct"] is None:
        return "not known"
    centre, low, high = (one_decimal(row[f"{name}{end}_pct"]) for end in ("", "_low", "_high"))
    return f"{centre} % (95 %: {low} to {high})"


def _evidence(fan: FanStanding, epoch: FanEpoch, unseen: str) -> list[str]:
    judged = fan.judged
    if judged is None:
        return []
    if Cause(judged["cause"]) is Cause.DRIVE_LOST:
        return [f"{capital(judged['note'])} on {plain_date(judged['date'])}."]
    told = [
        f"Last judged on {plain_date(judged['date'])} from {judged['hours_used']} steady hours "
        f"of {one_decimal(judged['hours'])} running."
    ]
    found = ranked(judged["shares"])
    if found and Cause(judged["cause"]) is not Cause.NONE:
        told.append(_most_likely(found))
    if judged["excess_kw"] is not None:
        told.append(
            f"At the same airflow and pressure the motor takes {judged['excess_kw']:+.2f} kW against the "
            f"healthy drive ({EXCESS_IS}).".replace("-", "\N{MINUS SIGN}")
        )
    ahead = forecast_words(judged)
    if ahead:
        told.append(f"{capital(ahead)}.")
    if fan.since is not None:
        told.append(f"The oldest open alert is of {plain_date(fan.since)}.")
    if not epoch.machine.drive.can_slip:
        told.append("The drive carries its torque without friction: it cannot slip by belt.")
    if unseen:
        told.append(f"Not judged {unseen}." if fan.row is not None else f"Not judged: {unseen}.")
    return told


def _most_likely(found: Any) -> str:
    first = f"{capital(found[0].words)}: {sureness(found[0].share)}"
    others = [one for one in found[1:3] if one.share >= 0.05]
    if not others:
        return f"{first}; every other cause is far less likely."
    rest = " and ".join(f"{one.words} ({100.0 * one.share:.0f} %)" for one in others)
    decides = f"; {what_decides({found[0].cause, *(one.cause for one in others)} - {Cause.NONE})}"
    return f"{first}. What would look much the same here: {rest}{decides if found[0].share < 0.75 else ''}."


def _to_do(fan: FanStanding) -> str:
    if fan.standing is Standing.TIGHT or fan.judged is None:
        return ""
    if any(alert.kind is AlertKind.DRIVE_LOST for alert in fan.alerts):
        return "Belt, coupling, sheaves and their keys, the set screws of the wheel."
    cause = Cause(fan.judged["cause"])
    alike: tuple[Cause, ...] = ()
    if cause in (Cause.NONE, Cause.NOT_JUDGED) and fan.alerts:
        cause, alike = fan.alerts[0].cause, fan.alerts[0].alike
    is_dragging = any(alert.kind is AlertKind.DRIVE_LOSS for alert in fan.alerts)
    told = [look_at(one, alike) for one in beside_slip(cause, is_dragging=is_dragging) if one in LOOK_AT]
    return f"{capital('; '.join(told))}." if told else ""
