"""When jobs are due: in plant time over both days of the clock's change, without drift over restarts."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.worker.schedule import Every, OnDays, Plan

# Dates of the change: energy policy act of 2005 (2nd Sunday of March, 1st of November) for the United
# States; directive 2000/84/EC (last Sundays of March and October) for the Union; Lord Howe moves by half
# an hour.
DENVER, BERLIN, LORD_HOWE = (ZoneInfo(n) for n in ("America/Denver", "Europe/Berlin", "Australia/Lord_Howe"))


def utc(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


def due_in(plan: Plan, first: str, last: str) -> list[str]:
    at, found = utc(first), []
    while (at := plan.first_after(at)) <= utc(last):
        found.append(at.isoformat()[:16])
    return found


def test_a_nightly_time_that_the_clock_jumps_over_comes_once_an_hour_later_on_the_clock() -> None:
    nightly = OnDays(dt.time(2, 30), DENVER)
    assert due_in(nightly, "2025-03-08T12:00", "2025-03-10T12:00") == ["2025-03-09T09:30", "2025-03-10T08:30"]
    assert utc("2025-03-09T09:30").astimezone(DENVER).time() == dt.time(3, 30)


def test_a_nightly_time_that_the_clock_shows_twice_comes_once_the_first_time() -> None:
    nightly = OnDays(dt.time(1, 30), DENVER)
    assert due_in(nightly, "2025-11-01T12:00", "2025-11-03T12:00") == ["2025-11-02T07:30", "2025-11-03T08:30"]
    assert utc("2025-11-02T07:30").astimezone(DENVER).fold == 0


def test_the_weekly_time_keeps_its_place_on_the_clock() -> None:
    weekly = OnDays(dt.time(6), BERLIN, weekday=0)
    mondays = due_in(weekly, "2025-03-20T00:00", "2025-04-08T00:00")
    assert mondays == ["2025-03-24T05:00", "2025-03-31T04:00", "2025-04-07T04:00"]


def test_half_an_hour_of_change_is_a_change_too() -> None:
    nightly = OnDays(dt.time(2, 15), LORD_HOWE)  # 2025-10-05: from 02:00 to 02:30
    days = due_in(nightly, "2025-10-03T12:00", "2025-10-06T12:00")
    assert [utc(day).astimezone(LORD_HOWE).strftime("%d %H:%M") for day in days] == [
        "04 02:15",
        "05 02:45",
        "06 02:15",
    ]


def test_minutes_are_counted_through_the_change_and_through_restarts() -> None:
    every = Every(15)
    assert every.last_until(utc("2025-03-09T09:44:59")) == utc("2025-03-09T09:30")
    assert len(due_in(every, "2025-03-09T00:00", "2025-03-10T00:00")) == 96


PLANS = st.one_of(
    st.integers(1, 2000).map(Every),
    st.builds(
        OnDays,
        st.times(),
        st.sampled_from([DENVER, BERLIN, LORD_HOWE, ZoneInfo("UTC")]),
        st.one_of(st.none(), st.integers(0, 6)),
    ),
)
INSTANTS = st.datetimes(dt.datetime(2024, 1, 1), dt.datetime(2027, 1, 1), timezones=st.just(dt.UTC))


@given(plan=PLANS, instant=INSTANTS)
def test_what_was_due_last_and_what_is_due_next_enclose_the_instant(plan: Plan, instant: dt.datetime) -> None:
    last, following = plan.last_until(instant), plan.first_after(instant)
    assert last <= instant < following
    assert plan.first_after(last) == following
    assert plan.last_until(following) == following


@pytest.mark.parametrize("zone", [DENVER, BERLIN, LORD_HOWE])
def test_a_year_has_as_many_nights_as_days(zone: ZoneInfo) -> None:
    for minute in range(0, 1440, 45):
        nightly = OnDays(dt.time(*divmod(minute, 60)), zone)
        nights = due_in(nightly, "2025-01-01T00:00", "2026-01-01T00:00")
        assert len({utc(night).astimezone(zone).date() for night in nights}) == len(nights) == 365
