"""Whose turn it is: once after downtime, not after too long, again after a failure, whatever the clock."""

import datetime as dt
from typing import Any

import pytest

from config.site import WorkerTable
from service.store.runs import Heartbeat, RunOutcome
from service.worker.jobs import Job
from service.worker.rota import Turn, first_heartbeat, is_ahead, turn_of
from service.worker.running import sentence_of
from service.worker.schedule import Every

POLICY = WorkerTable()
HOURLY = Job("pull nightly", Every(60), lambda *_: {}, begins_at_once=True)
WAITING = Job("weekly mail", Every(60), lambda *_: {}, begins_at_once=False)


def at(hour: float) -> dt.datetime:
    return dt.datetime(2025, 6, 2, tzinfo=dt.UTC) + dt.timedelta(hours=hour)


def beat(due: float, **known: Any) -> Heartbeat:
    whole = {"started": None, "done": None, "outcome": None, "error": None, "failures": 0}
    return Heartbeat("pull nightly", at(due), late_at=at(due + 3), **{**whole, **known})


def test_what_was_seen_to_waits_for_its_next_time() -> None:
    assert turn_of(HOURLY, beat(5), at(5.4), POLICY) == Turn(at(6), at(6))


def test_what_is_due_is_due_now() -> None:
    assert turn_of(HOURLY, beat(5), at(6.4), POLICY) == Turn(at(6.4), at(6))


def test_after_downtime_it_runs_once_for_the_last_time_it_was_due() -> None:
    assert turn_of(HOURLY, beat(5), at(47.5), POLICY) == Turn(at(47.5), at(47))
    assert turn_of(HOURLY, beat(47), at(47.6), POLICY).at == at(48)


def test_what_was_due_longer_ago_than_allowed_is_not_made_up() -> None:
    weekly = Job("weekly mail", Every(10_080), lambda *_: {}, begins_at_once=False)
    due = weekly.plan.last_until(at(0))
    held = Heartbeat("weekly mail", due - dt.timedelta(days=7), None, None, None, None, 0, due)
    in_time, too_late = due + dt.timedelta(hours=144), due + dt.timedelta(hours=145)
    assert not turn_of(weekly, held, in_time, POLICY).is_missed
    assert turn_of(weekly, held, too_late, POLICY) == Turn(too_late, due, is_missed=True)


def test_without_catching_up_only_a_short_wait_is_made_up() -> None:
    policy = WorkerTable(catch_up="no")
    daily = Job("assess", Every(1440), lambda *_: {}, begins_at_once=False)
    held = Heartbeat("assess", at(0), None, None, None, None, 0, at(26))
    assert not turn_of(daily, held, at(24 + 1.9), policy).is_missed
    assert turn_of(daily, held, at(24 + 2.1), policy).is_missed


@pytest.mark.parametrize(
    ("failures", "minutes"), [(1, 5), (2, 10), (3, 20), (4, 40), (5, 60), (50, 60), (5000, 60)]
)
def test_what_failed_is_tried_again_after_a_pause_that_doubles_to_an_hour(
    failures: int, minutes: int
) -> None:
    failed = beat(5, started=at(6), outcome=RunOutcome.FAILED, failures=failures)
    turn = turn_of(HOURLY, failed, at(6.01), POLICY)
    assert turn.at == at(6) + dt.timedelta(minutes=minutes)
    assert turn.due == at(6)


def test_what_is_wanted_between_its_times_is_due_now_or_after_the_pause_of_a_failure() -> None:
    assert turn_of(HOURLY, beat(5), at(5.4), POLICY, is_wanted=True) == Turn(at(5.4), at(5.4))
    failed = beat(5, started=at(5.4), outcome=RunOutcome.FAILED, failures=1)
    assert turn_of(HOURLY, failed, at(5.41), POLICY, is_wanted=True).at == at(5.4) + dt.timedelta(minutes=5)


def test_a_heartbeat_from_a_clock_that_ran_ahead_is_known() -> None:
    assert is_ahead(beat(30), at(6))
    assert not is_ahead(beat(6), at(6))


def test_a_job_never_run_begins_at_once_or_waits_for_its_first_time() -> None:
    assert turn_of(HOURLY, beat_of(first_heartbeat(HOURLY, at(6.5))), at(6.5), POLICY).at == at(6.5)
    assert turn_of(WAITING, beat_of(first_heartbeat(WAITING, at(6.5))), at(6.5), POLICY).at == at(7)


def test_what_a_failure_says_is_plain_text_in_one_line() -> None:
    failure = OSError("Generic error \x1b[31m\u21b3\x1b[0m no space\n  left on device")
    assert sentence_of(failure) == "Generic error \u21b3 no space left on device"


def beat_of(due: dt.datetime) -> Heartbeat:
    return Heartbeat("x", due, None, None, None, None, 0, due)
