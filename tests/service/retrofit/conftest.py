"""A site with a belt that slipped and became a synchronous one, and a motor that was replaced."""

import csv
import dataclasses
import datetime as dt
import io

import numpy as np
import pandas as pd
import pytest

from demo_trends.draw import Choices, draw_plan
from demo_trends.faults import Fault
from demo_trends.simulator import Trends, simulate
from tests.service.assess.conftest import Plant, schedule

ZONE = "America/New_York"
FIRST, DAYS = dt.date(2025, 1, 20), 80
HEALTHY = ("2025-01-20", "2025-02-20")
BEFORE, AFTER = "2025-02-24..2025-03-15", "2025-03-18..2025-04-08"
CHANGE = pd.Timestamp("2025-03-16", tz=ZONE)
BELT, AMPS = "SF-1", "EF-2"


def changed(seed: int, name: str, role: str) -> tuple[Trends, float]:
    """A fan whose belt slips from day 33, a synchronous one from the change on, and the true saving."""
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
    plan = dataclasses.replace(plan, site=site, gap_share=0.0, outages_per_100_days=0.0)
    belt = dataclasses.replace(plan.belt, kind="synchronous_belt", law=None, flexing=0.35 * plan.belt.flexing)
    old = dataclasses.replace(plan, faults=(Fault("slip", 33.0, 0.06, "step"),))
    new = dataclasses.replace(plan, belt=belt)
    runs = [simulate(one, FIRST.isoformat(), DAYS, 60, seed=seed) for one in (old, new)]
    readings = runs[0].readings.copy()
    late = readings.index >= CHANGE
    readings.loc[late] = runs[1].readings.loc[late]
    one, other = (run.truth[late & run.truth["is_running"].to_numpy()] for run in runs)
    same = np.abs(one["airflow_m3s"] / other["airflow_m3s"] - 1.0) < 0.003
    truth = 1.0 - other["motor_shaft_w"][same].sum() / one["motor_shaft_w"][same].sum()
    return dataclasses.replace(runs[0], readings=readings), float(truth)


@pytest.fixture(scope="session")
def planted() -> tuple[list[Trends], float]:
    """Both fans, and the true saving of the first in per cent."""
    belt, truth = changed(11, BELT, "power")
    amps, _ = changed(12, AMPS, "current")
    return [belt, amps], 100.0 * truth


@pytest.fixture(scope="session")
def site(planted: tuple[list[Trends], float], tmp_path_factory: pytest.TempPathFactory) -> Plant:
    runs, _ = planted
    plant = Plant(tmp_path_factory.mktemp("retrofit") / "site", runs)
    fans = schedule(runs, SF_1={"power_unit": "W"})
    rows = list(csv.DictReader(io.StringIO(fans)))
    rows.append({**rows[0], "from": "2025-03-16", "drive": "synchronous_belt"})
    with io.StringIO(newline="") as text:
        writer = csv.DictWriter(text, list(dict.fromkeys([*rows[0], "from"])), restval="")
        writer.writeheader()
        writer.writerows(rows)
        plant.declare(baseline=HEALTHY, fans=text.getvalue())
    plant.log(f"{AMPS},2025-03-16,10:00,motor_replaced,,")
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    plant.assess()
    return plant
