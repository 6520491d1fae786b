"""A night looks at its new days alone: what an earlier one settled is not held against the readings again."""

import datetime as dt
from collections.abc import Callable

import pytest
import sqlalchemy as sa

from config import load_site
from service.store import open_store
from service.store.ledger_tables import daily, fan_days
from tests.service.assess.conftest import DAYS, FIRST, SLIPPING, SYNCHRONOUS, Plant, drawn, schedule

LAST = FIRST + dt.timedelta(days=DAYS - 1)
OLD = dt.date(2025, 3, 3)


@pytest.fixture
def evening(new_plant: Callable[..., Plant]) -> Plant:
    """A site assessed up to the day before the last, which has just been pulled."""
    plant = new_plant()
    plant.drop("history.csv", FIRST, LAST - dt.timedelta(days=1))
    plant.pull()
    plant.assess()
    plant.drop("last.csv", LAST, LAST)
    plant.pull()
    return plant


def misplace(plant: Plant, table: sa.Table, fan: str) -> None:
    """Change the digest of an old day as no command does, so that whoever looks at it acts on it."""
    with open_store(load_site(plant.folder)) as store, store.writer() as connection:
        is_old = (table.c.fan == fan) & (table.c.date == OLD)
        assert connection.execute(sa.update(table).where(is_old).values(digest="0" * 64)).rowcount == 1


def test_a_night_looks_at_no_settled_day(evening: Plant) -> None:
    misplace(evening, fan_days, SLIPPING)
    misplace(evening, daily, SYNCHRONOUS)
    evening.watch_writes()
    evening.assess()
    written = {str(date) for name, _, date in evening.written() if name == "daily"}
    assert written == {str(LAST)}


def test_a_fan_that_can_only_be_seen_to_lose_its_drive_has_no_old_day_written_again(
    new_plant: Callable[..., Plant],
) -> None:
    blind = schedule(drawn(), EF_2=dict.fromkeys(("current_point", "airflow_point", "power_point"), ""))
    nightly, at_once = new_plant(fans=blind), new_plant(fans=blind)
    nightly.drop("history.csv", FIRST, LAST - dt.timedelta(days=1))
    nightly.pull()
    nightly.assess()
    nightly.watch_writes()
    for plant in (nightly, at_once):
        plant.drop("last.csv", LAST if plant is nightly else FIRST, LAST)
        plant.pull()
        plant.assess()
    assert set(nightly.daily(SYNCHRONOUS)["cause"]) == {"not_judged"}
    assert {str(date) for name, _, date in nightly.written() if name == "daily"} == {str(LAST)}
    assert nightly.everything()["daily"] == at_once.everything()["daily"]


def test_work_put_in_later_has_every_day_looked_at_again(evening: Plant) -> None:
    misplace(evening, fan_days, SLIPPING)
    evening.log(f"{SLIPPING},{LAST},,greased")
    evening.watch_writes()
    evening.assess()
    written = {str(date) for name, fan, date in evening.written() if (name, fan) == ("daily", SLIPPING)}
    assert str(OLD) in written
