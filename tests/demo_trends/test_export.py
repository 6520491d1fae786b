"""Exports: civil time, layouts, cells; and a site folder that the product itself can load."""

import csv
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import config
from demo_trends.draw import Choices, draw_plan
from demo_trends.export import PointColumn, cells, long, months, single, wall_clock, wide, write_site
from demo_trends.simulator import simulate, time_steps
from demo_trends.weather import air_density


def test_the_wall_clock_skips_an_hour_in_spring():
    clock = wall_clock(time_steps("2025-03-09", 1, 15, "America/Denver"), "America/Denver")
    assert len(clock) == 92
    assert clock[7:9] == ["2025-03-09 01:45", "2025-03-09 03:00"]
    assert clock[-1] == "2025-03-09 23:45"


def test_the_wall_clock_tells_an_hour_twice_in_autumn():
    clock = wall_clock(time_steps("2025-11-02", 1, 15, "America/Denver"), "America/Denver")
    assert len(clock) == 100
    assert clock.count("2025-11-02 01:30") == 2


def test_months_part_at_local_midnight():
    time = time_steps("2025-01-30", 40, 60, "America/Denver")
    parts = months(time, "America/Denver")
    assert list(parts) == ["2025-01", "2025-02", "2025-03"]
    clock = wall_clock(time, "America/Denver")
    assert clock[parts["2025-02"]][0] == "2025-02-01 00:00"
    assert clock[parts["2025-02"]][-1] == "2025-02-28 23:00"
    assert sum(part.stop - part.start for part in parts.values()) == len(time)


def test_cells_are_printed_as_building_systems_do():
    values = np.array([0.0, -0.001, 12.5, 12.34, np.nan, -3.0, 1e5])
    assert cells(values, 0.1) == ["0", "0", "12.5", "12.3", "", "-3", "100000"]
    assert cells(values, 0.01) == ["0", "0", "12.5", "12.34", "", "-3", "100000"]
    assert cells(np.array([8420.0]), 10.0) == ["8420"]


class TestLayouts:
    CLOCK = ("2025-05-01 00:00", "2025-05-01 00:15", "2025-05-01 00:30")
    COLUMNS = (PointColumn("A.SPD", ["1", "", "3"]), PointColumn("A.CFM", ["10", "", ""]))

    def test_wide_leaves_out_a_row_of_nothing(self):
        text = wide(self.COLUMNS, self.CLOCK, slice(0, 3))
        assert text == "Timestamp,A.SPD,A.CFM\n2025-05-01 00:00,1,10\n2025-05-01 00:30,3,\n"

    def test_single_leaves_out_what_is_blank(self):
        assert single(self.COLUMNS[1], self.CLOCK) == "Timestamp,Value\n2025-05-01 00:00,10\n"

    def test_long_is_a_row_a_value(self):
        rows = list(csv.reader(long(self.COLUMNS, self.CLOCK).splitlines()))
        assert rows[0] == ["Timestamp", "Point", "Value"]
        assert [row[1:] for row in rows[1:]] == [["A.SPD", "1"], ["A.SPD", "3"], ["A.CFM", "10"]]


@pytest.mark.parametrize("is_metric", [True, False])
@pytest.mark.parametrize("layout", ["wide", "single", "long"])
def test_a_drawn_site_loads_without_a_fault_and_says_what_was_drawn(tmp_path, layout, is_metric):
    rng = np.random.default_rng(21)
    roles = ("speed", "current", "power", "torque", "airflow", "pressure", "air_temperature", "run_status",
             "motor_speed", "wheel_speed", "outdoor_air_damper")  # fmt: skip
    plans = [draw_plan(rng, f"F{number}", Choices(is_metric=is_metric, roles=roles)) for number in range(12)]
    plans = [replace(plan, site=plans[0].site) for plan in plans]
    runs = [simulate(plan, "2025-03-01", 40, 60, seed=1) for plan in plans]
    healthy = ("2025-03-01", "2025-04-04")
    write_site(tmp_path, runs, is_metric=is_metric, layout=layout, healthy=healthy, has_barometer=is_metric)
    site = config.load_site(tmp_path)
    assert site.fan_names == tuple(plan.name for plan in plans)
    for plan in plans:
        (epoch,) = site.epochs(plan.name)
        machine = epoch.machine
        assert machine.motor_rated_power_w == pytest.approx(plan.motor.rated_w, rel=0.03)
        assert machine.motor_hz == plan.motor.base_hz
        assert machine.design_airflow_m3s == pytest.approx(plan.wheel.design_airflow_m3s, rel=1e-3)
        if plan.drive != "direct":
            assert machine.motor_sheave_m / machine.wheel_sheave_m == pytest.approx(plan.ratio, rel=0.02)
        assert machine.altitude_m == pytest.approx(plan.site.climate.altitude_m, abs=1)
    files = [path for path in (tmp_path / "drop").iterdir() if path.name != "weather.csv"]
    assert len(files) == (sum(len(plan.sensors) for plan in plans) if layout == "single" else len(plans))


def test_an_exported_value_is_the_reading_in_the_units_of_the_site(tmp_path):
    plan = draw_plan(np.random.default_rng(22), "F", Choices(control="flow", is_metric=False))
    run = simulate(plan, "2025-03-01", 40, 60, seed=1)
    write_site(tmp_path, [run], is_metric=False, healthy=("2025-03-01", "2025-04-04"))
    sheet = pd.read_csv(tmp_path / "drop" / "F.csv")
    (epoch,) = config.load_site(tmp_path).epochs("F")
    kept = run.readings.dropna()
    for role, column in (
        ("airflow", "airflow_m3s"),
        ("pressure", "pressure_pa"),
        ("speed", "speed_fraction"),
    ):
        read_back = epoch.units[role].to_si(sheet[f"F.{role}"].to_numpy(dtype=float))
        np.testing.assert_allclose(read_back, kept[column], rtol=1e-5, atol=1e-6)


def test_density_of_moist_air_is_psychrolibs():
    psychrolib = pytest.importorskip("psychrolib", reason="the oracle for moist air is not installed")
    psychrolib.SetUnitSystem(psychrolib.SI)
    for celsius, ratio, pascal in (
        (20.0, 0.007, 101_325.0),
        (35.0, 0.014, 82_000.0),
        (-10.0, 0.001, 84_556.0),
    ):
        ours = air_density(np.array([pascal]), np.array([celsius]), np.array([ratio]))[0]
        assert ours == pytest.approx(psychrolib.GetMoistAirDensity(celsius, ratio, pascal), rel=2e-4)
