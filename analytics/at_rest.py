"""From which day on can a fan's alerts be found without the days before it?"""

from collections.abc import Sequence

from analytics.episode import Episode, JudgedDay
from analytics.episodes import DRIFT_TOPICS, GAUGES, Gauge, drift_sum, healthy_spread
from analytics.notices import UNLOGGED_DAYS, is_noticed

# Raised whenever the same ledger gives other alerts: those found before are then found again.
WATCH_REVISION = 4


def last_at_rest(days: Sequence[JudgedDay], found: Sequence[Episode]) -> int | None:
    """Return the place of the last day after which nothing of the days so far bears on any alert.

    So it is after a judged day on which no alert is open and nothing counts towards one: no sum of
    innovations, no day past a limit, no cause held that would be told, no slip that could go away unlogged.

    Parameters: `days`, one fan's in order of date; `found`, their episodes but those of raw readings.
    Returns: the place, None where no day is so. Validity: while no later day is of a healthy period, whose
    scatter bears on every day before it.
    """
    totals = dict.fromkeys(GAUGES, 0.0)
    spreads = {gauge: healthy_spread(gauge, days) for gauge in GAUGES}
    slipping = UNLOGGED_DAYS
    last = None
    for place, day in enumerate(days):
        if not day.is_judged or day.is_healthy_period:
            continue
        for gauge in GAUGES:
            totals[gauge] = _total(gauge, day, found, totals[gauge], spreads[gauge])
        if day.can_slip:
            slipping = UNLOGGED_DAYS if day.slip_ref_pct >= day.limits.slip_watch_pct else slipping - 1
        is_open = any(
            one.opened_on <= day.date and (one.closed_on is None or one.closed_on > day.date) for one in found
        )
        counts = any(totals[gauge] > 0.0 or gauge.value(day) > gauge.watch_pct(day) for gauge in GAUGES)
        if not is_open and not counts and not is_noticed(day) and (slipping <= 0 or not day.can_slip):
            last = place
    return last


def _total(gauge: Gauge, day: JudgedDay, found: Sequence[Episode], total: float, spread: float) -> float:
    drifts = [one for one in found if one.topic == DRIFT_TOPICS[gauge.kind]]
    if any(one.closed_on == day.date for one in drifts):
        return 0.0
    past = [one for one in found if one.kind is gauge.kind and one.topic == gauge.topic]
    return drift_sum(gauge, day, past, total, spread)
