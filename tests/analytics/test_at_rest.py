"""After a day at rest a fan's alerts are found without the days before it."""

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pytest

from analytics.at_rest import last_at_rest
from analytics.episode import Episode, JudgedDay, Service
from analytics.episodes import episodes, in_order
from analytics.machine import Limits
from analytics.vocabulary import Cause, Work

FIRST = dt.date(2025, 1, 6)
LIMITS = Limits(slip_watch_pct=3.0, slip_act_pct=5.0, hold_days=3)
CAUSES = (Cause.NONE, Cause.NONE, Cause.NONE, Cause.UNCLEAR, Cause.BELT_SLIP, Cause.AIRFLOW_SENSOR)
HEALTHY_DAYS, DAYS = 20, 240


def eventful(seed: int) -> tuple[list[JudgedDay], list[Service]]:
    """Draw a fan's days: spells of slip, drag and wrong sensors, silences, work now and then."""
    draw = np.random.default_rng(seed)
    days, slip, drag, cause = [], 1.0, 0.0, Cause.NONE
    services = []
    for number in range(DAYS):
        date = FIRST + dt.timedelta(days=number)
        if draw.random() < 0.04:
            slip, drag = draw.choice([1.0, 1.2, 2.0, 4.0, 7.0]), draw.choice([0.0, 1.0, 5.0])
            cause = CAUSES[draw.integers(len(CAUSES))]
        if draw.random() < 0.02:
            services.append(Service(date, Work.RETENSIONED, None))
        is_judged = draw.random() > (0.95 if draw.random() < 0.1 else 0.08)
        days.append(
            JudgedDay(
                date=date,
                is_judged=is_judged,
                is_healthy_period=number < HEALTHY_DAYS,
                is_awaited=number >= HEALTHY_DAYS,
                slip_ref_pct=slip + draw.normal(0.0, 0.2),
                drag_ref_pct=drag + draw.normal(0.0, 0.2),
                cause=cause if is_judged else Cause.NOT_JUDGED,
                cause_share=0.9,
                last_reading=dt.datetime.combine(date, dt.time(23), tzinfo=dt.UTC),
                limits=LIMITS,
                can_slip=seed % 5 > 0,
                slip_innovation=draw.normal(slip - 1.0, 1.0),
                drag_innovation=draw.normal(drag, 1.0),
                likeliest=cause,
                alike=(Cause.AIR_PATH, Cause.AIRFLOW_SENSOR) if cause is Cause.UNCLEAR else (),
            )
        )
    return days, services


def in_two_parts(days: Sequence[JudgedDay], services: Sequence[Service], past: int) -> tuple[Episode, ...]:
    """Find alerts up to a day, forget what came before the last day at rest, and go on."""
    found = episodes(days[:past], (), services)
    last = last_at_rest(days[:past], found)
    if last is None:
        return episodes(days, (), services)
    kept = [one for one in found if one.opened_on <= days[last].date]
    healthy = [day for day in days[: last + 1] if day.is_healthy_period]
    return in_order([*kept, *episodes([*healthy, *days[last + 1 :]], (), services)])


@pytest.mark.parametrize("seed", range(12))
def test_alerts_found_in_two_parts_are_those_found_at_once(seed: int) -> None:
    days, services = eventful(seed)
    whole = episodes(days, (), services)
    for past in range(HEALTHY_DAYS, DAYS, 23):
        assert in_two_parts(days, services, past) == whole


def test_fans_come_to_rest_between_their_alerts() -> None:
    rests = [last_at_rest(days, episodes(days, (), services)) for days, services in map(eventful, range(20))]
    assert sum(last is not None for last in rests) > 12
    alerts = [len(episodes(days, (), services)) for days, services in map(eventful, range(20))]
    assert sum(number > 1 for number in alerts) > 12


def test_a_fan_with_an_alert_open_is_not_at_rest() -> None:
    days = eventful(3)[0][:40]
    loose = [
        JudgedDay(**{name: getattr(day, name) for name in JudgedDay.__slots__} | {"slip_ref_pct": 6.0})
        for day in days
    ]
    found = episodes(loose, (), ())
    assert any(one.closed_on is None for one in found)
    assert last_at_rest(loose, found) is None
