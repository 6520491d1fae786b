"""What the mail says of a fan that wants a visit."""

from dataclasses import dataclass
from typing import Final

from analytics.ledger import NAMED_CAUSES
from analytics.vocabulary import AlertKind, Cause
from config.epoch import FanEpoch
from service.mail.cost import week_cost
from service.mail.known import Known
from service.mail.picture import Picture, picture
from service.mail.rechecks import verdict_since
from service.mail.writing import Row, change, interval, sureness
from service.notices import Fact, page_facts, place_facts, tell_first
from service.store.check_figure import check_figure
from service.store.figure_words import figure_words
from service.store.fleet import FanStanding, Standing
from service.store.remedies import LIFE_YEARS, remedies_of
from service.words import (
    CAUSE_WORDS,
    LOOK_AT,
    beside_slip,
    capital,
    forecast_words,
    one_line,
    plain_date,
    what_decides,
)

_UNNAMED: Final = (Cause.NONE, Cause.NOT_JUDGED)
_ABOUT: Final = {AlertKind.BELT_SLIP: Cause.BELT_SLIP, AlertKind.DRIVE_LOSS: Cause.DRAG}
_WORTH_SAYING: Final = 0.05
_RAW: Final = ("drive lost", "stopped though commanded")
_LOST: Final = "see whether belt or coupling is gone, or the wheel loose on its shaft"
_STOPPED: Final = "see whether it tripped, is locked out or lost its belt"


@dataclass(frozen=True, slots=True)
class Visit:
    """A fan that wants a visit: how soon, why, and every fact somebody needs who goes there."""

    fan: str
    standing: Standing
    why: str
    facts: tuple[Fact, ...]
    picture: Picture | None


def visit(known: Known, fan: FanStanding, *, is_drawn: bool) -> Visit:
    """Return what is said of a fan that wants a visit."""
    epoch = known.epoch(fan.fan)
    shown = _shown(known, fan)
    cause = _cause(fan, shown)
    facts = [
        *place_facts(epoch),
        Fact("Since", _since(fan)),
        Fact("Slip now", _slip(known, fan, epoch)),
        *_losses(known, fan, epoch),
        *_forecast(fan),
        *_last_work(known, fan),
        Fact("It costs", week_cost(known, fan)),
        *_pays(known, fan, epoch),
        Fact("Likely", _likely(fan, cause, shown)),
        Fact("Check", f"{capital(_to_check(fan, cause))}."),
        Fact(
            "Check figure", figure_words(check_figure(known.site, known.store, fan.fan, known.last_day), fan)
        ),
        Fact("Tell first", tell_first(epoch)),
        *page_facts(known.site, fan.fan),
    ]
    drawn = picture(known, fan, epoch) if is_drawn else None
    return Visit(one_line(fan.fan), fan.standing, _why(fan, cause), tuple(facts), drawn)


def _shown(known: Known, fan: FanStanding) -> Row | None:
    """Return the latest row of the week that names a cause: on a light day, a Saturday, little stands out."""
    named = [row for row in known.telling(fan.fan) if Cause(row["cause"]) not in _UNNAMED]
    return named[-1] if named else None


def _cause(fan: FanStanding, shown: Row | None) -> Cause:
    """Return the cause the week's days name, else what the alert is about."""
    if shown is not None:
        return Cause(shown["cause"])
    named = [alert.cause for alert in fan.alerts if alert.cause not in _UNNAMED]
    about = [_ABOUT[alert.kind] for alert in fan.alerts if alert.kind in _ABOUT]
    return [*named, *about, Cause.UNCLEAR][0]


def _why(fan: FanStanding, cause: Cause) -> str:
    lost = [alert for alert in fan.alerts if alert.kind is AlertKind.DRIVE_LOST]
    if lost:
        return CAUSE_WORDS[Cause.DRIVE_LOST]
    stopped = [alert for alert in fan.alerts if alert.topic == "stopped though commanded"]
    if stopped:
        return "it stands still though told to run"
    return ", and ".join(CAUSE_WORDS[one] for one in _told(fan, cause))


def _told(fan: FanStanding, cause: Cause) -> tuple[Cause, ...]:
    is_dragging = any(alert.kind is AlertKind.DRIVE_LOSS for alert in fan.alerts)
    return beside_slip(cause, is_dragging=is_dragging)


def _since(fan: FanStanding) -> str:
    told = [f"{plain_date(alert.opened_on)}: {alert.topic} ({alert.level.value})" for alert in fan.alerts]
    return f"{'; '.join(told)}."


def _slip(known: Known, fan: FanStanding, epoch: FanEpoch) -> str:
    row = fan.row
    if not epoch.machine.drive.can_slip:
        return "This drive carries its torque without friction: it cannot slip by belt."
    if row is None or row["slip_ref_pct"] is None:
        return "Not known: no judged day yet."
    if row["cause"] == Cause.DRIVE_LOST.value:
        return "The motor no longer turns the wheel: 100 %."
    moved = change(row["slip_ref_pct"], known.last_week_ref(fan.fan, "slip_ref_pct"))
    limits = f"limits {epoch.limits.slip_watch_pct:g} (watch) and {epoch.limits.slip_act_pct:g} (act)"
    judged = fan.judged
    is_old = judged is not None and judged["date"] < known.week.first
    carried = f" Carried from {plain_date(judged['date'])}: no judged day since." if is_old and judged else ""
    return f"{interval(row, 'slip_ref')} at the reference torque, {moved}; {limits}.{carried}"


def _losses(known: Known, fan: FanStanding, epoch: FanEpoch) -> list[Fact]:
    # The fullest day says most; a Saturday's loss is a light day's.
    rows = known.telling(fan.fan)
    row = max(rows, key=lambda one: (one["hours_used"], one["date"])) if rows else fan.judged
    if row is None or fan.row is None:
        return []
    if fan.row["cause"] == Cause.DRIVE_LOST.value:
        return [Fact("Drive loss", "All of it: no power reaches the wheel.")]
    against = f"{row['drive_loss_change_pct']:+.1f} points against the healthy drive in the same hours"
    limits = epoch.limits
    rise = f"{limits.drive_loss_rise_watch_pct:g} (watch) and {limits.drive_loss_rise_act_pct:g} (act)"
    text = (
        f"{interval(row, 'drive_loss')} of the motor's shaft power did not reach the wheel on "
        f"{plain_date(row['date'])}, {against}. What of its rise is not slip: {interval(row, 'drag_ref')} at "
        f"the reference torque; limits {rise}."
    )
    return [Fact("Drive loss", text)]


def _forecast(fan: FanStanding) -> list[Fact]:
    words = "" if fan.judged is None else forecast_words(fan.judged)
    return [Fact("At this pace", f"{capital(words.removesuffix(' at this pace'))}.")] if words else []


def _last_work(known: Known, fan: FanStanding) -> list[Fact]:
    """Return the latest work done since the fan's oldest alert opened, and whether the data agree with it."""
    done = verdict_since(known, fan.fan, fan.since or known.last_day)
    return [] if done is None else [Fact("Work done", done.text)]


def _pays(known: Known, fan: FanStanding, epoch: FanEpoch) -> list[Fact]:
    """Return the two remedies that pay back soonest, by the site's prices."""
    if fan.cost is None:
        return []
    found = remedies_of(epoch, fan.cost, known.site.site.prices)
    paid = [(one.payback_years.centre, one) for one in found if one.payback_years is not None]
    best = [one for years, one in sorted(paid, key=lambda pair: pair[0]) if years <= LIFE_YEARS][:2]
    if not best:
        return []
    currency = known.site.site.currency
    told = (
        f"{one.name}, {one.price.centre:,.0f} {currency}, back in {one.payback_words} years" for one in best
    )
    text = f"By [prices] of site.toml: {'; '.join(told)}. What to mind stands on the fan's page."
    return [Fact("What pays", text)]


def _likely(fan: FanStanding, cause: Cause, row: Row | None) -> str:
    if any(alert.topic in _RAW for alert in fan.alerts):
        return f"{capital(_why(fan, cause))}; decided on the raw readings, not on the healthy curves."
    if row is None:
        return (
            f"{capital(CAUSE_WORDS[cause])}, by what was past its limit; no day of this week names a cause."
        )
    others = _others(row, cause)
    said = capital(CAUSE_WORDS[cause])
    if cause is not Cause.UNCLEAR:
        said = f"{said}: {sureness(row['cause_share'])}"
    for more in _told(fan, cause)[1:]:
        said = f"{said}, and {CAUSE_WORDS[more]}: what is lost beside slip is past its own limit"
    others = [(name, share) for name, share in others if name not in _told(fan, cause)]
    if not others:
        return f"{said}; every other cause is far less likely."
    named = " or ".join(f"{CAUSE_WORDS[name]} ({100.0 * share:.0f} %)" for name, share in others[:2])
    alike = {cause, *(name for name, _ in others[:2])} - {Cause.UNCLEAR}
    return f"{said}. What would look much the same here: {named}; {what_decides(alike)}."


def _others(row: Row, cause: Cause) -> list[tuple[Cause, float]]:
    shares = row["shares"] or []
    pairs = zip(NAMED_CAUSES, shares, strict=False)
    kept = [(name, share) for name, share in pairs if share >= _WORTH_SAYING and name is not cause]
    return sorted(kept, key=lambda pair: -pair[1])


def _to_check(fan: FanStanding, cause: Cause) -> str:
    if any(alert.kind is AlertKind.DRIVE_LOST for alert in fan.alerts):
        return _LOST
    if any(alert.topic == "stopped though commanded" for alert in fan.alerts):
        return _STOPPED
    return "; ".join(LOOK_AT.get(one, LOOK_AT[Cause.UNCLEAR]) for one in _told(fan, cause))
