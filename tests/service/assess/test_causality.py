"""Promise 2: a row dated D uses nothing from after D; the healthy period's own days are exempt."""

import datetime as dt
from collections.abc import Callable

import pytest

from tests.service.assess.conftest import FIRST, LOST, LOST_DAY, SLIPPING, SYNCHRONOUS, Plant

BEFORE = (f"{SLIPPING},2025-03-08,,retensioned",)
AFTER = (f"{LOST},2025-03-19,09:00,belt_replaced", f"{SYNCHRONOUS},2025-03-15,,aligned")


@pytest.mark.parametrize(
    "date",
    [
        dt.date(2025, 2, 26),
        dt.date(2025, 3, 9),
        pytest.param(LOST_DAY - dt.timedelta(days=1), marks=pytest.mark.long),
        pytest.param(LOST_DAY, marks=pytest.mark.long),
    ],
)
def test_rows_up_to_a_day_know_nothing_of_later_days(
    date: dt.date, plant: Plant, new_plant: Callable[..., Plant]
) -> None:
    plant.log(*BEFORE, *AFTER)
    plant.assess()
    cut = new_plant()
    cut.log(*(entry for entry in (*BEFORE, *AFTER) if entry.split(",")[1] <= date.isoformat()))
    cut.drop("all.csv", FIRST, date)
    cut.pull()
    cut.assess()
    whole = plant.daily()
    known = whole[whole["date"] <= date].reset_index(drop=True)
    assert cut.daily().equals(known)
    assert set(known["date"]) >= {date}


def test_alerts_opened_by_a_day_know_nothing_of_later_days(
    plant: Plant, new_plant: Callable[..., Plant]
) -> None:
    date = dt.date(2025, 3, 10)
    cut = new_plant()
    cut.drop("all.csv", FIRST, date)
    cut.pull()
    cut.assess()
    opening = ["fan", "kind", "opened_on", "opened_at", "cause", "message"]
    whole = plant.alerts()
    known = whole[[opened <= date for opened in whole["opened_on"]]]
    assert cut.alerts()[opening].equals(known[opening].reset_index(drop=True))
    assert SLIPPING in set(known["fan"])
