"""A site where belt, motor, set point and frequency drive of four fans were changed on one day."""

import csv
import dataclasses
import datetime as dt
import io

import numpy as np
import pandas as pd
import pytest

from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault
from demo_trends.plan import FanPlan
from demo_trends.simulator import Trends, simulate
from tests.accuracy.retrofits import true_saving
from tests.service.assess.conftest import Plant, schedule

ZONE = "America/New_York"
FIRST, DAYS = dt.date(2025, 1, 20), 80
HEALTHY = ("2025-01-20", "2025-02-20")
BEFORE, AFTER = "2025-02-24..2025-03-15", "2025-03-18..2025-04-08"
BELT, AMPS, AIR, DRIVE = "SF-1", "EF-2", "SF-3", "RF-4"
FANS = {BELT: "power", AMPS: "current", AIR: "power", DRIVE: "power"}
LOG = (
    f"{AMPS},2025-03-16,10:00,motor_replaced,,",
    f"{AIR},2025-03-16,10:00,setpoint_changed,,",
    f"{DRIVE},2025-03-16,10:00,drive_replaced,,",
)
CHANGE = pd.Timestamp("2025-03-16", tz=ZONE)


def drawn(seed: int, name: str, role: str) -> FanPlan:
    """A fan of an office under pressure control, whose meter is of a kind."""
    plan = draw_plan(
        np.random.default_rng(seed),
        name,
        Choices(
            drive="v_belt",
            control="pressure",
            use="office",
            fan_type="airfoil",
            motor_w=15000.0,
            motor_kind="induction",
            quality="good",
            is_metric=True,
            altitude_m=1600.0,
            pressure_location="across_fan",
            economiser_swing=0.0,
            roles=("speed", role, "airflow", "pressure", "air_temperature"),
        ),
    )
    site = dataclasses.replace(plan.site, zone=ZONE)
    return dataclasses.replace(plan, site=site, gap_share=0.0, outages_per_100_days=0.0)


def changed(old: FanPlan, new: FanPlan, seed: int, *, is_air: bool = False) -> tuple[Trends, float]:
    """The readings of one arrangement up to the change and of another from it on; the true saving [%]."""
    runs = [simulate(one, FIRST.isoformat(), DAYS, 60, seed=seed) for one in (old, new)]
    readings = runs[0].readings.copy()
    late = readings.index >= CHANGE
    readings.loc[late] = runs[1].readings.loc[late]
    truth = true_saving(runs, seed, readings.index[late], is_electrical=True, is_air=is_air)
    return dataclasses.replace(runs[0], readings=readings), 100.0 * truth


def slipping(plan: FanPlan) -> FanPlan:
    return dataclasses.replace(plan, faults=(Fault("slip", 33.0, 0.06, "step"),))


@pytest.fixture(scope="session")
def planted() -> dict[str, tuple[Trends, float]]:
    """Each fan's run and its true saving in per cent."""
    plans = {name: drawn(seed, name, role) for seed, (name, role) in enumerate(FANS.items(), start=11)}
    belt, amps, air, drive = plans.values()
    synchronous = dataclasses.replace(
        belt.belt, kind="synchronous_belt", law=None, flexing=0.35 * belt.belt.flexing
    )
    lower = dataclasses.replace(air.control, set_share=0.8 * air.control.set_share)
    return {
        BELT: changed(slipping(belt), dataclasses.replace(belt, belt=synchronous), 11),
        AMPS: changed(slipping(amps), amps, 12),
        AIR: changed(air, dataclasses.replace(air, control=lower), 13, is_air=True),
        DRIVE: changed(slipping(drive), drive, 14, is_air=True),
    }


@pytest.fixture(scope="session")
def site(planted: dict[str, tuple[Trends, float]], tmp_path_factory: pytest.TempPathFactory) -> Plant:
    runs = [run for run, _ in planted.values()]
    plant = Plant(tmp_path_factory.mktemp("retrofit") / "site", runs)
    watts = {"power_unit": "W"}
    fans = schedule(runs, SF_1=watts, SF_3=watts, RF_4=watts | {"power_at": "line"})
    rows = list(csv.DictReader(io.StringIO(fans)))
    rows.append({**rows[0], "from": "2025-03-16", "drive": "synchronous_belt"})
    with io.StringIO(newline="") as text:
        writer = csv.DictWriter(text, list(dict.fromkeys([*rows[0], "from"])), restval="")
        writer.writeheader()
        writer.writerows(rows)
        plant.declare(baseline=HEALTHY, fans=text.getvalue())
    plant.log(*LOG)
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    plant.assess()
    return plant
