"""Is the drive drifting past a limit: the alert episodes of one fan's ledger."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from analytics.drift import summed, threshold_for
from analytics.episode import Episode, Event, JudgedDay, Service
from analytics.model import Parameter
from analytics.notices import QUIET_DAYS, cause_notices, event_episode, silences, unlogged_work
from analytics.recovery import has_recovered
from analytics.service_effects import ended_by
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy

# One day's oddity is news for the jump and the limits, not for a drift.
MOST_INNOVATION = 3.0
# Of the way from healthy to the watch limit, what the ledger must show before a drift is told.
_SHOWN_SHARE = 0.25
# What moves one gauge by way of the other's cause is the other's drift.
_OTHERS = {AlertKind.BELT_SLIP: Cause.DRAG, AlertKind.DRIVE_LOSS: Cause.BELT_SLIP}
DRIFT_TOPICS = {AlertKind.BELT_SLIP: "slip drifting", AlertKind.DRIVE_LOSS: "drive loss drifting"}
_HEALTHY_SLIP_PCT = 1.0
# Drawn quiet fans alarmed twice as often as independent days would.
_FOLLOWING_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Gauge:
    """What is held against the limits: slip or the drive's loss beside it."""

    kind: AlertKind
    topic: str
    ends: Parameter
    healthy_pct: float

    @property
    def own(self) -> Cause:
        """The cause that moves it."""
        return Cause.BELT_SLIP if self.kind is AlertKind.BELT_SLIP else Cause.DRAG

    def value(self, day: JudgedDay) -> float:
        """Return what the ledger says of it on a day [%]."""
        return day.slip_ref_pct if self.kind is AlertKind.BELT_SLIP else day.drag_ref_pct

    def innovation(self, day: JudgedDay) -> float:
        """Return how far the day lies from a healthy one, NaN where it says nothing."""
        if self.kind is AlertKind.BELT_SLIP:
            return day.slip_innovation if day.can_slip else float("nan")
        return day.drag_innovation

    def watch_pct(self, day: JudgedDay) -> float:
        """Return the day's limit to watch it [%]."""
        limits = day.limits
        return limits.slip_watch_pct if self.kind is AlertKind.BELT_SLIP else limits.drive_loss_rise_watch_pct

    def act_pct(self, day: JudgedDay) -> float:
        """Return the day's limit to act [%]."""
        limits = day.limits
        return limits.slip_act_pct if self.kind is AlertKind.BELT_SLIP else limits.drive_loss_rise_act_pct


GAUGES = (
    Gauge(AlertKind.BELT_SLIP, "slip past its limit", Parameter.SLIP, _HEALTHY_SLIP_PCT),
    Gauge(AlertKind.DRIVE_LOSS, "drive loss past its limit", Parameter.DRAG, 0.0),
)


def episodes(
    days: Sequence[JudgedDay], events: Iterable[Event], services: Sequence[Service]
) -> tuple[Episode, ...]:
    """Find one fan's alert episodes.

    A limit is passed on a judged day when the central estimate is past it; the alert opens on the
    hold_days-th such day in a row, is `act` when as many were past the higher limit, and closes by
    service with recovery shown or after ten judged days below half the watch limit. Days not judged
    neither count nor break.

    Parameters: `days`, one fan's rows in order of date; `events`; `services` of that fan.
    Returns: episodes in order of their opening.
    """
    past = {gauge: _gauge_episodes(gauge, days, services) for gauge in GAUGES}
    found = [*chain.from_iterable(past.values()), *cause_notices(days, services)]
    for gauge in GAUGES:
        found += _drifts(gauge, days, services, past[gauge], found)
    found += [event_episode(event, services) for event in events]
    found += [*silences(days), *unlogged_work(days, services)]
    return in_order(found)


def in_order(found: Iterable[Episode]) -> tuple[Episode, ...]:
    """Return episodes in order of their opening."""
    return tuple(sorted(found, key=lambda episode: (episode.opened_at, episode.kind, episode.topic)))


def _gauge_episodes(gauge: Gauge, days: Sequence[JudgedDay], services: Sequence[Service]) -> list[Episode]:
    found: list[Episode] = []
    current: Episode | None = None
    above_watch = above_act = quiet = 0
    before = 0.0
    counted: list[tuple[dt.date, float]] = []
    for day in days:
        if not day.is_judged or day.is_healthy_period:
            continue
        value = gauge.value(day)
        above_watch = above_watch + 1 if value > gauge.watch_pct(day) else 0
        above_act = above_act + 1 if value > gauge.act_pct(day) else 0
        quiet = quiet + 1 if value < 0.5 * gauge.watch_pct(day) else 0
        counted.append((day.date, value))
        if current is None:
            if above_watch >= day.limits.hold_days:
                current = _opened(gauge, day, value, is_act=above_act >= day.limits.hold_days)
                before = value
            continue
        before = max(before, value)
        if current.level is AlertLevel.WATCH and above_act >= day.limits.hold_days:
            current = replace(current, level=AlertLevel.ACT, act_on=day.date)
        closed_by = _closing(gauge, day, current, services, counted, before, quiet)
        if closed_by is not None:
            found.append(replace(current, closed_on=day.date, closed_by=closed_by))
            current, above_watch, above_act, quiet, before = None, 0, 0, 0, 0.0
    return found if current is None else [*found, current]


def _opened(gauge: Gauge, day: JudgedDay, value: float, *, is_act: bool) -> Episode:
    level = AlertLevel.ACT if is_act else AlertLevel.WATCH
    act_on = day.date if is_act else None
    # Past its limit nothing but its size may be open: no other fault is there to be told from.
    is_own = set(day.alike) == {gauge.own, Cause.NONE}
    return Episode(
        gauge.kind,
        level,
        day.date,
        day.last_reading,
        act_on,
        gauge.own if is_own else day.cause,
        day.likeliest_share if is_own else day.cause_share,
        None,
        None,
        gauge.topic,
        value,
        () if is_own else day.alike,
    )


def _closing(
    gauge: Gauge,
    day: JudgedDay,
    current: Episode,
    services: Sequence[Service],
    counted: Sequence[tuple[dt.date, float]],
    before: float,
    quiet: int,
) -> ClosedBy | None:
    if _is_put_right(gauge, day, current, services, counted, before):
        return ClosedBy.SERVICE
    return ClosedBy.DATA if quiet >= QUIET_DAYS else None


def _is_put_right(
    gauge: Gauge,
    day: JudgedDay,
    current: Episode,
    services: Sequence[Service],
    counted: Sequence[tuple[dt.date, float]],
    before: float,
) -> bool:
    last = _last_ending(gauge, day, current, services)
    return last is not None and has_recovered(counted, last, before, gauge.watch_pct(day), gauge.healthy_pct)


def _last_ending(
    gauge: Gauge, day: JudgedDay, current: Episode, services: Sequence[Service]
) -> dt.date | None:
    """Return the latest day since an episode's opening on which work was done that ends its cause."""
    done = [
        service.date
        for service in services
        if current.opened_on <= service.date <= day.date
        and gauge.ends in ended_by(service.work, service.role)
    ]
    return max(done, default=None)


def _drifts(
    gauge: Gauge,
    days: Sequence[JudgedDay],
    services: Sequence[Service],
    past: Sequence[Episode],
    told: Sequence[Episode],
) -> list[Episode]:
    """Find the drifts below a gauge's limits: one notice a drift.

    The sum of the days' innovations opens it, and closes it when it is back at nothing or when work is
    seen to have put it right, with which the sum begins again; past the limit the alert takes its place, and
    the sum waits until that is closed. A cause that is told already is not told again because it moves this
    gauge too; nor is a drift that the ledger gives to other causes.
    """
    found: list[Episode] = []
    current: Episode | None = None
    total = before = 0.0
    counted: list[tuple[dt.date, float]] = []
    spread = healthy_spread(gauge, days)
    for day in days:
        if not day.is_judged or day.is_healthy_period:
            continue
        threshold = notice_threshold(day.limits.false_alerts_per_fan_year)
        total = drift_sum(gauge, day, past, total, spread)
        is_told = any(one.likeliest is day.likeliest and is_open(one, day.date) for one in told)
        counted.append((day.date, gauge.value(day)))
        before = max(before, gauge.value(day))
        if current is not None and _is_put_right(gauge, day, current, services, counted, before):
            total = 0.0
        if current is None and total >= threshold and not is_told and _is_shown(gauge, day):
            current, before = _drifting(gauge, day), gauge.value(day)
        elif current is not None and total == 0.0:
            is_served = _last_ending(gauge, day, current, services) is not None
            closed_by = ClosedBy.SERVICE if is_served else ClosedBy.DATA
            found.append(replace(current, closed_on=day.date, closed_by=closed_by))
            current = None
    return found if current is None else [*found, current]


def drift_sum(gauge: Gauge, day: JudgedDay, past: Sequence[Episode], total: float, spread: float) -> float:
    """Return the sum of a gauge's innovations after a judged day, no more than what opens a notice.

    Parameters: `past`, the alerts of the gauge's own limits, while which it waits; `total` the day before;
    `spread` of the healthy days.
    """
    if any(is_open(one, day.date) for one in past):
        total = 0.0
    elif np.isfinite(gauge.innovation(day)):
        total = summed(total, min(gauge.innovation(day) / spread, MOST_INNOVATION))
    return min(total, notice_threshold(day.limits.false_alerts_per_fan_year))


def _is_shown(gauge: Gauge, day: JudgedDay) -> bool:
    if day.likeliest is _OTHERS[gauge.kind]:
        return False
    # Innovations that the ledger's own centre gives to other causes are no drift of the drive.
    way = gauge.watch_pct(day) - gauge.healthy_pct
    return gauge.value(day) >= gauge.healthy_pct + _SHOWN_SHARE * way


def notice_threshold(false_alerts_per_fan_year: float) -> float:
    """Return the threshold of the sum of innovations at which a drift is noticed, in standard deviations.

    Two gauges share what is allowed. Some fans' days follow one another, which the law of run lengths
    does not know: it is set for half of what is allowed.
    """
    return threshold_for(_FOLLOWING_SHARE * false_alerts_per_fan_year / len(GAUGES))


def is_open(episode: Episode, date: dt.date) -> bool:
    """Tell whether an episode is open on a date, the day of its close included."""
    return episode.opened_on <= date <= (episode.closed_on or dt.date.max)


def healthy_spread(gauge: Gauge, days: Sequence[JudgedDay]) -> float:
    """Return by how much a fan's healthy days scatter along a gauge, at least one standard deviation."""
    # A fan whose healthy days already scatter more than the model expects scatters on.
    healthy = np.array([gauge.innovation(day) for day in days if day.is_healthy_period and day.is_judged])
    known = healthy[np.isfinite(healthy)]
    return max(1.0, float(np.sqrt(np.mean(np.square(known))))) if len(known) else 1.0


def _drifting(gauge: Gauge, day: JudgedDay) -> Episode:
    # A drift below its limit may be seen before any cause holds enough of the belief to be named.
    is_unseen = day.cause is Cause.NONE
    return Episode(
        AlertKind.NOTICE,
        AlertLevel.WATCH,
        day.date,
        day.last_reading,
        None,
        Cause.UNCLEAR if is_unseen else day.cause,
        1.0 - day.cause_share if is_unseen else day.cause_share,
        None,
        None,
        DRIFT_TOPICS[gauge.kind],
        gauge.value(day),
        day.alike,
    )
