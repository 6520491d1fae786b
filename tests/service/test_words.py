"""What people are told decides between causes is something that can: rpm only where a cause moves a shaft."""

import datetime as dt
from dataclasses import replace

import pytest

from analytics.episode import Episode
from analytics.episodes import DRIFT_TOPICS
from analytics.notices import NO_DRIVE_FAULT, UNSURE_FAULT
from analytics.vocabulary import AlertKind, AlertLevel, Cause
from service.alerts.messages import message
from service.notices.notice import Trade
from service.notices.trade import trade_of
from service.words import CAUSE_WORDS, LOOK_AT, about, beside_slip, what_decides


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


def drift(cause: Cause, *alike: Cause, share: float = 0.93) -> Episode:
    return Episode(
        kind=AlertKind.NOTICE,
        level=AlertLevel.WATCH,
        opened_on=dt.date(2025, 6, 6),
        opened_at=dt.datetime(2025, 6, 7, 4, tzinfo=dt.UTC),
        act_on=None,
        cause=cause,
        cause_share=share,
        closed_on=None,
        closed_by=None,
        topic=DRIFT_TOPICS[AlertKind.BELT_SLIP],
        value_pct=3.9,
        alike=alike,
    )


def test_a_drift_told_on_the_way_past_a_limit_does_not_claim_to_be_below_it() -> None:
    assert message(drift(Cause.BELT_SLIP)) == (
        "Belt slip drifts up, to 3.9 % at the reference torque, ahead of an alert at its limit; the belt "
        f"slips: {LOOK_AT[Cause.BELT_SLIP]}."
    )


def test_a_drift_of_an_unclear_cause_names_all_that_may_be_and_what_decides() -> None:
    told = message(drift(Cause.UNCLEAR, Cause.DRAG, Cause.CURRENT_SENSOR, share=0.39))
    assert "unclear: bearings or alignment drag, or the current or power reading drifts: " in told
    assert LOOK_AT[Cause.DRAG] in told
    assert LOOK_AT[Cause.CURRENT_SENSOR] in told
    assert told.endswith("an electrician's meter held against the current or power reading does.")
    assert "likely" not in told
    assert "the cause is unclear: a tachometer" in message(drift(Cause.UNCLEAR))


def test_a_drift_that_may_be_nothing_says_so_and_claims_no_instrument_that_cannot_tell() -> None:
    told = message(drift(Cause.UNCLEAR, Cause.NONE, Cause.DRAG))
    assert "unclear: no fault of a size that matters, or bearings or alignment drag: " in told
    assert told.endswith(f"{LOOK_AT[Cause.DRAG]}.")
    assert message(drift(Cause.UNCLEAR, Cause.NONE, Cause.BELT_SLIP)).endswith("both shafts' rpm decide.")


def test_a_loss_beside_slip_sends_somebody_to_the_bearings_though_the_day_names_the_belt() -> None:
    loss = replace(drift(Cause.BELT_SLIP), kind=AlertKind.DRIVE_LOSS, topic="drive loss past its limit")
    told = message(loss)
    assert told.index(LOOK_AT[Cause.DRAG]) < told.index(LOOK_AT[Cause.BELT_SLIP])
    assert beside_slip(Cause.BELT_SLIP, is_dragging=True) == (Cause.BELT_SLIP, Cause.DRAG)
    assert beside_slip(Cause.BELT_SLIP, is_dragging=False) == (Cause.BELT_SLIP,)
    assert beside_slip(Cause.WHEEL, is_dragging=True) == (Cause.WHEEL,)


def test_a_notice_that_a_filter_or_a_station_may_explain_is_the_controls_only_if_both_are() -> None:
    def trade(*causes: Cause) -> Trade:
        return trade_of(AlertKind.NOTICE, AlertLevel.WATCH, UNSURE_FAULT, causes)

    assert trade(Cause.AIRFLOW_SENSOR, Cause.PRESSURE_SENSOR) is Trade.CONTROLS
    assert trade(Cause.AIRFLOW_SENSOR, Cause.AIR_PATH) is Trade.MECHANICS
    assert trade(Cause.CURRENT_SENSOR, Cause.DRAG) is Trade.MECHANICS


def test_a_notice_of_two_faults_says_both_where_one_is_asked_what_it_is_about() -> None:
    both = about(UNSURE_FAULT, Cause.UNCLEAR, (Cause.AIR_PATH, Cause.AIRFLOW_SENSOR))
    assert both == f"unclear: {CAUSE_WORDS[Cause.AIR_PATH]}, or {CAUSE_WORDS[Cause.AIRFLOW_SENSOR]}"
    assert about(NO_DRIVE_FAULT, Cause.WHEEL, ()) == "the wheel or its inlet is fouled or damaged"
    assert about("slip past its limit", Cause.UNCLEAR, ()) == "slip past its limit"
