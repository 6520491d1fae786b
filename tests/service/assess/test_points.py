"""What a site says of fans that lack a point or name a wrong one: in every row and in why."""

import datetime as dt
from collections.abc import Callable

import numpy as np

from config import load_site
from demo_trends.wrong_points import mistake
from service.assess.reasons import why
from service.store import open_store
from service.store.sight import latest_sights
from tests.service.assess.conftest import DAYS, FIRST, SLIPPING, Plant, drawn, schedule


def test_points_refused_or_missing_are_said_and_the_rest_is_judged(new_plant: Callable[..., Plant]) -> None:
    run = drawn()[0]
    wrong = mistake(run, "sum_of_fans")
    plant = new_plant((wrong,))
    plant.declare()
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    plant.assess()
    last = plant.daily(SLIPPING).iloc[-1]
    assert "airflow_point not used: it reads" in str(last["note"])
    assert "not seen is not none" in str(last["note"])
    assert float(last["slip_ref_pct"]) > 3.0
    site = load_site(plant.folder)
    with open_store(site) as store:
        told = why(site, store, SLIPPING)
        with store.reader() as connection:
            seen = latest_sights(connection)[SLIPPING]
    assert "several fans in sum" in told.sight
    assert "airflow_point would help most" in told.sight
    assert seen.sight is not None
    assert 0.0 < (seen.sight.least_slip_pct or np.nan) < 10.0


def test_a_load_alone_claims_no_slip_and_passes_no_limit(new_plant: Callable[..., Plant]) -> None:
    run = drawn()[0]
    plant = new_plant((run,))
    plant.declare(fans=schedule((run,), SF_1={"pressure_point": "", "airflow_point": ""}))
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    plant.assess()
    last = plant.daily(SLIPPING).iloc[-1]
    assert "only excess power" in str(last["note"])
    assert float(last["slip_change_low_pct"]) <= 0.0
    assert float(last["slip_change_high_pct"]) > 6.0
    assert float(last["drag_ref_pct"]) == 0.0
    assert "belt_slip" not in set(plant.alerts(SLIPPING)["kind"])
