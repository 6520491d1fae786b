"""A day that cannot be judged for want of a reading names the reading, not the range."""

import dataclasses
import datetime as dt
from collections.abc import Callable

import numpy as np
import pytest

from analytics.vocabulary import Role
from demo_trends.readings import COLUMNS
from demo_trends.simulator import Trends
from service.assess.rows import reason_not_judged
from service.assess.unread import unread
from tests.service.assess.conftest import SLIPPING, Plant, drawn

HOURS = 8


def words(steady: str, *, used: int = 0, visits: tuple[dt.time | None, ...] = (), **read: str) -> str:
    """The reason of a day of hours, each 1 or 0 for whether it is steady and has its readings."""
    marks = {Role(role): np.array([mark == "1" for mark in hours]) for role, hours in read.items()}
    is_steady = np.array([mark == "1" for mark in steady])
    return reason_not_judged(used, visits, unread(is_steady, marks, slice(0, HOURS)))


def test_a_reading_that_was_never_there_is_named() -> None:
    said = words("01111110", pressure="00000000", current="11111111")
    assert said == "pressure read in none of 6 steady hours, 3 needed"


def test_a_reading_that_was_seldom_there_is_named_with_its_hours() -> None:
    said = words("01111110", airflow="11000001", motor_speed="10100000")
    assert said == "airflow read in 1 of 6 steady hours, motor speed read in 1 of 6 steady hours, 3 needed"


def test_readings_that_were_never_there_together_are_named() -> None:
    said = words("11111111", pressure="00001111", current="11110000")
    assert said == "pressure read in 4 of 8 steady hours, current read in 4 of 8 steady hours, 3 needed"


@pytest.mark.parametrize(
    ("steady", "pressure"),
    [
        pytest.param("11111111", "11100000", id="enough hours read, away from the range"),
        pytest.param("11000000", "00000000", id="too few hours steady, read or not"),
    ],
)
def test_where_hours_are_wanting_for_another_reason_the_range_is_said(steady: str, pressure: str) -> None:
    said = words(steady, used=2, pressure=pressure, current="11111111")
    assert said == "2 steady hours in the fitted range, 3 needed"


def test_after_a_visit_the_hours_are_those_after_it() -> None:
    said = words("00001111", pressure="11110000", visits=(dt.time(3, 30),))
    assert said == "service that day: pressure read in none of 4 steady hours after it, 3 needed"


def without(trends: Trends, role: Role, date: dt.date, begin: str) -> Trends:
    """The trends with a point that is silent from an hour (UTC) of a day to the next midnight."""
    readings = trends.readings.copy()
    times = readings.index
    is_silent = (times >= f"{date}T{begin}Z") & (times < f"{date + dt.timedelta(days=1)}T05:00Z")
    readings.loc[is_silent, COLUMNS[role]] = np.nan
    return dataclasses.replace(trends, readings=readings)


def test_the_ledger_names_the_reading_that_failed(new_plant: Callable[..., Plant]) -> None:
    whole, part = dt.date(2025, 2, 25), dt.date(2025, 2, 27)
    run = without(without(drawn()[0], Role.PRESSURE, whole, "05:00"), Role.CURRENT, part, "15:00")
    plant = new_plant((run,))
    plant.drop("all.csv", dt.date(2025, 1, 20), dt.date(2025, 2, 28))
    plant.pull()
    plant.assess()
    of_pressure, of_current = (str(plant.row(SLIPPING, date)["note"]) for date in (whole, part))
    steady = {int(note.split(" steady")[0].split()[-1]) for note in (of_pressure, of_current)}
    assert min(steady) > 6
    assert of_pressure.startswith("pressure read in none of ")
    assert of_current.startswith(("current read in 1 of ", "current read in 2 of "))
    assert of_pressure.endswith(" steady hours, 3 needed")
