"""Wrongly mapped points behave as such points do, and nothing else of the run is touched."""

import numpy as np
import pytest

from demo_trends.wrong_points import MISTAKES, mistake


@pytest.mark.parametrize("kind", MISTAKES)
def test_only_the_mapped_point_changes_and_gaps_stay(healthy_run, kind):
    wrong = mistake(healthy_run, kind)
    changed = [name for name in wrong.readings if not wrong.readings[name].equals(healthy_run.readings[name])]
    assert changed == ["pressure_pa" if kind in ("set_point", "building_pressure") else "airflow_m3s"]
    assert (wrong.readings.isna() == healthy_run.readings.isna()).all(axis=None)
    assert wrong.truth is healthy_run.truth


def test_a_set_point_stands_even_when_the_fan_stops(healthy_run):
    assert mistake(healthy_run, "set_point").readings["pressure_pa"].nunique() == 1


def test_building_pressure_knows_nothing_of_the_speed(healthy_run):
    readings = mistake(healthy_run, "building_pressure").readings
    assert readings["pressure_pa"].abs().max() < 50
    assert abs(np.corrcoef(readings["pressure_pa"], readings["speed_fraction"])[0, 1]) < 0.3


def test_the_sum_of_fans_flows_while_this_one_stands(healthy_run):
    stopped = mistake(healthy_run, "sum_of_fans").readings[~healthy_run.truth["is_running"]]
    assert stopped["airflow_m3s"].min() > 0


def test_a_computed_airflow_holds_no_news(healthy_run):
    """It is a function of speed and pressure, to the last digit."""
    readings = mistake(healthy_run, "computed_airflow").readings[healthy_run.truth["is_running"]]
    speed, pressure = readings["speed_fraction"], readings["pressure_pa"]
    terms = np.stack([speed, pressure / speed], axis=1)
    _, remainder, *_ = np.linalg.lstsq(terms, readings["airflow_m3s"], rcond=None)
    assert remainder[0] < 1e-12 * (readings["airflow_m3s"] ** 2).sum()


def test_a_stuck_point_freezes_on_a_running_value(healthy_run):
    flow = mistake(healthy_run, "stuck").readings["airflow_m3s"]
    half = len(flow) // 2
    assert flow[half:].nunique() == 1
    assert flow.iloc[-1] > 0
    assert flow[:half].nunique() > 100
