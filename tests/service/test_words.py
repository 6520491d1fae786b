"""What people are told decides between causes is something that can: rpm only where a cause moves a shaft."""

import datetime as dt

import pytest

from analytics.episode import Episode
from analytics.episodes import DRIFT_TOPICS
from analytics.vocabulary import AlertKind, AlertLevel, Cause
from service.alerts.messages import message
from service.words import LOOK_AT, what_decides


@pytest.mark.parametrize("other", [Cause.WHEEL, Cause.AIRFLOW_SENSOR, Cause.CURRENT_SENSOR, Cause.DRAG])
def test_a_slipping_belt_is_told_by_both_shafts(other: Cause) -> None:
    assert what_decides({Cause.BELT_SLIP, other}) == "both shafts' rpm decide"


def test_drag_and_a_wrong_load_reading_leave_both_shafts_alone_so_a_meter_decides() -> None:
    told = what_decides({Cause.DRAG, Cause.CURRENT_SENSOR})
    assert told.startswith("no rpm tells these apart")
    assert "electrician's meter" in told
    assert "electrician's meter" in what_decides({Cause.BELT_SLIP, Cause.DRAG, Cause.CURRENT_SENSOR})
    assert "electrician's meter" in LOOK_AT[Cause.UNCLEAR]


def test_two_readings_that_may_drift_are_held_against_an_instrument() -> None:
    told = what_decides({Cause.AIRFLOW_SENSOR, Cause.PRESSURE_SENSOR})
    assert told == "no rpm tells these apart; the readings held against an instrument do"


def test_a_drift_told_on_the_way_past_a_limit_does_not_claim_to_be_below_it() -> None:
    opened = dt.date(2025, 6, 6)
    drift = Episode(
        kind=AlertKind.NOTICE,
        level=AlertLevel.WATCH,
        opened_on=opened,
        opened_at=dt.datetime(2025, 6, 7, 4, tzinfo=dt.UTC),
        act_on=None,
        cause=Cause.BELT_SLIP,
        cause_share=0.93,
        closed_on=None,
        closed_by=None,
        topic=DRIFT_TOPICS[AlertKind.BELT_SLIP],
        value_pct=3.9,
    )
    assert message(drift).startswith(
        "Belt slip drifts up, to 3.9 % at the reference torque, ahead of an alert at its limit; most likely "
    )
