"""Weeks across years and clock changes; ISO 8601's own examples, and Python's calendar as the oracle."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.mail import Week, last_whole_week

DENVER = ZoneInfo("America/Denver")


@pytest.mark.parametrize(
    ("date", "week"),
    [
        # ISO 8601-1:2019, annex A: a week belongs to the year of its Thursday.
        ("2004-12-31", "2004-W53"),
        ("2005-01-01", "2004-W53"),
        ("2005-01-02", "2004-W53"),
        ("2005-01-03", "2005-W01"),
        ("2024-12-29", "2024-W52"),
        ("2024-12-30", "2025-W01"),
        ("2020-12-31", "2020-W53"),
        ("2021-01-03", "2020-W53"),
    ],
)
def test_a_date_lies_in_the_week_of_its_thursday(date: str, week: str) -> None:
    assert str(Week.of(dt.date.fromisoformat(date))) == week


@given(st.dates(dt.date(1990, 1, 1), dt.date(2090, 12, 31)))
def test_weeks_follow_one_another_without_a_gap(date: dt.date) -> None:
    week = Week.of(date)
    assert week.first <= date <= week.last
    assert week.first.isoweekday() == 1
    assert week.before.last == week.first - dt.timedelta(days=1)
    assert week.before < week
    assert Week.parse(str(week)) == week


@pytest.mark.parametrize("text", ["2025-W53", "2025-W00", "2025-20", "W20", "2025-W2O", "", "25-W20"])
def test_what_is_no_week_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"week|Week"):
        Week.parse(text)


def test_the_week_that_loses_an_hour_and_the_week_that_gains_one() -> None:
    # The United States change clocks on 9 March and 2 November 2025, both Sundays (Energy Policy Act 2005).
    lengths = {}
    for number in (9, 10, 11, 44, 45):
        week = Week(2025, number)
        lengths[number] = (week.ends(DENVER) - week.before.ends(DENVER)) / dt.timedelta(hours=1)
    assert lengths == {9: 168.0, 10: 167.0, 11: 168.0, 44: 169.0, 45: 168.0}


@pytest.mark.parametrize(
    ("last_reading", "week"),
    [
        ("2025-06-16T05:45:00+00:00", "2025-W24"),  # Sunday 23:45 in Denver: the day is over
        ("2025-06-16T04:30:00+00:00", "2025-W23"),  # Sunday 22:30: it is not
        ("2025-06-20T12:00:00+00:00", "2025-W24"),
        ("2025-03-10T05:45:00+00:00", "2025-W10"),  # the Sunday of 23 hours
        ("2025-01-02T12:00:00+00:00", "2024-W52"),
    ],
)
def test_the_last_whole_week_by_the_plants_clock(last_reading: str, week: str) -> None:
    assert str(last_whole_week(dt.datetime.fromisoformat(last_reading), DENVER)) == week
