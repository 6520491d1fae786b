"""A fan's usual load beside its ledger: what it sums up to, and when it is made anew."""

import json
from dataclasses import replace

import numpy as np
import pytest

from analytics.machine import Machine
from analytics.vocabulary import Drive, SpeedControl
from config import load_site
from service.store import open_store
from service.store.fleet import fleet
from service.store.power import fed_frequency

from .conftest import DAYS, LOST, SLIPPING, SYNCHRONOUS, Plant


def profiles(plant: Plant) -> dict[str, dict[str, list[float]]]:
    rows = plant.query("select fan, profile from fan_loads order by fan")
    return {str(fan): json.loads(text) if isinstance(text, str) else text for fan, text in rows}


def test_the_hours_of_a_profile_are_those_the_fan_runs_a_year(plant: Plant) -> None:
    days = plant.query("select fan, avg(hours_running), count(*) from fan_days group by fan")
    ran = {str(fan): float(str(hours)) * 365.0 for fan, hours, _ in days}
    for fan, profile in profiles(plant).items():
        assert sum(profile["hours"]) == pytest.approx(ran[fan], rel=0.05)
        assert profile["season_error"] >= 0.1 * (1.0 - DAYS / 365.0) ** 0.5


def test_only_a_frequency_drive_feeds_a_motor_at_another_frequency_than_the_lines() -> None:
    speed = np.array([0.5, 1.0])
    of_drive = Machine(drive=Drive.V_BELT, motor_rated_power_w=7457.0)
    staged = replace(of_drive, speed_control=SpeedControl.TWO_SPEED)
    assert fed_frequency(of_drive, speed).tolist() == [0.5, 1.0]
    assert fed_frequency(staged, speed).tolist() == [1.0, 1.0]


def test_slip_costs_and_a_drive_that_cannot_slip_does_not(plant: Plant) -> None:
    site = load_site(plant.folder)
    with open_store(site) as store:
        found = {fan.fan: fan for fan in fleet(site, store)}
    slipping, toothed = found[SLIPPING].cost, found[SYNCHRONOUS].cost
    assert slipping is not None
    assert toothed is not None
    assert slipping.slip_kwh.centre > 100.0 * toothed.slip_kwh.centre
    assert toothed.slip_kwh.high == 0.0
    # By hand: the ledger's own excess of its latest judged days, over the same hours.
    rows = plant.query(
        f"select avg(excess_kw) from (select excess_kw from daily where fan = '{SLIPPING}' "
        "and excess_kw is not null order by date desc limit 5) as latest"
    )
    a_year = float(str(rows[0][0])) * slipping.running_hours
    assert slipping.energy_kwh.centre / 1.05 == pytest.approx(a_year, rel=0.35)
    assert found[LOST].cost is None
    assert found[LOST].cost_a_year is None


def test_an_assessment_without_news_makes_no_profile_anew(plant: Plant) -> None:
    before = plant.query("select fan, digest from fan_loads order by fan")
    plant.assess()
    assert plant.query("select fan, digest from fan_loads order by fan") == before


def test_another_price_makes_them_anew(plant: Plant) -> None:
    before = profiles(plant)[SLIPPING]
    plant.declare(extra="energy_price_per_kwh = 0.24")
    plant.assess()
    after = profiles(plant)[SLIPPING]
    assert after["price"] != before["price"]
    assert after["motor_kw"] == before["motor_kw"]


def test_an_earlier_as_of_sees_no_later_load(plant: Plant) -> None:
    plant.assess("2025-03-02")
    early = profiles(plant)[SLIPPING]
    plant.assess()
    assert early["hours"] != profiles(plant)[SLIPPING]["hours"]
