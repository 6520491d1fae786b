"""Readings are a function of exports and settings: what was put right later reads as if it had been right."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

TEXT = (
    "Time,SF1 speed,SF1 amps,SF1 dp,EF1 speed\n2025-03-01 00:00,30,10,1.5,20\n2025-03-01 00:15,31,11,1.6,21\n"
)
FANS = """fan,drive,motor_kw,motor_fla,motor_rpm,speed_point,current_point,airflow_point,pressure_point
SF-1,v_belt,11,20.7,1465,SF1 speed,SF1 amps,SF1 flow,SF1 dp
EF-1,direct,5.5,10.9,1455,EF1 speed,EF1 amps,,
"""


@pytest.mark.parametrize(
    "right",
    [
        {"units": 'speed = "Hz"\n'},
        {"zone": "America/Denver"},
        {"source": 'zone = "Asia/Tokyo"'},
        {"source": 'layout = "wide"'},
        {"fans": FANS.replace("SF1 dp", "EF1 speed").replace(",EF1 speed,EF1 amps", ",SF1 speed,EF1 amps")},
        {"fans": FANS + "X-9,direct,5.5,,,SF1 speed,,,\n"},
        {
            "fans": FANS.replace("fan,drive", "fan,max_hz,drive")
            .replace(",v_b", ",60,v_b")
            .replace(",dir", ",,dir")
        },
        {
            "fans": FANS.replace("fan,drive", "fan,from,drive")
            .replace(",v_b", ",2025-03-02,v_b")
            .replace(",dir", ",,dir")
        },
    ],
)
def test_settings_put_right_read_as_a_first_pull_would(
    plants: Callable[[], Any], right: dict[str, str]
) -> None:
    first, corrected = plants(), plants()
    first.declare(**right)
    first.drop("a.csv", TEXT, 1000.0)
    first.pull()
    corrected.drop("a.csv", TEXT, 1000.0)
    corrected.pull()
    (corrected.folder / "drop" / "a.csv").unlink()
    corrected.declare(**right)
    report = corrected.pull()
    assert report.is_rebuilt
    pd.testing.assert_frame_equal(corrected.readings(), first.readings())
    assert not corrected.pull().is_rebuilt


def test_settings_that_do_not_shape_readings_read_nothing_again(plant: Any) -> None:
    plant.drop("a.csv", TEXT)
    plant.pull()
    plant.declare(extra='currency = "EUR"', source="every_minutes = 60")
    report = plant.pull()
    assert (report.is_rebuilt, report.files) == (False, [])


def test_a_second_source_does_not_read_the_first_again(plant: Any) -> None:
    plant.drop("a.csv", TEXT)
    plant.pull()
    (plant.folder / "more").mkdir()
    (plant.folder / "more" / "b.csv").write_text(TEXT.replace("03-01", "03-02"))
    plant.declare(source='[[sources]]\nname = "more"\nurl = "more"\n')
    report = plant.pull()
    assert (report.is_rebuilt, [file.file for file in report.files]) == (False, ["b.csv"])


def test_a_renamed_source_keeps_its_exports(plant: Any) -> None:
    plant.drop("a.csv", TEXT)
    plant.pull()
    site = plant.folder / "site.toml"
    site.write_text(site.read_text().replace('"nightly"', '"renamed"'))
    report = plant.pull()
    assert (report.is_rebuilt, report.files, report.skipped) == (False, [], 1)
    assert plant.ledger("select source from exports") == [("renamed",)]


def test_exports_of_a_source_that_is_gone_keep_its_settings(plant: Any) -> None:
    plant.declare(source='zone = "Asia/Tokyo"')
    plant.drop("a.csv", TEXT)
    plant.pull()
    before = plant.readings()
    site = plant.folder / "site.toml"
    site.write_text(site.read_text().replace('"nightly"', '"other"').replace('"drop"', '"elsewhere"'))
    (plant.folder / "elsewhere").mkdir()
    plant.pull(again=True)
    pd.testing.assert_frame_equal(plant.readings(), before)


def test_a_year_pulled_before_its_points_were_mapped_is_not_lost(plant: Any) -> None:
    plant.declare(fans="fan,drive,motor_kw,speed_point\nX,direct,1,nothing here\n")
    plant.drop("a.csv", TEXT)
    plant.pull()
    assert plant.intake().iloc[0][["rows_read", "unmapped"]].tolist() == [0, 8]
    (plant.folder / "drop" / "a.csv").unlink()
    plant.declare()
    plant.pull()
    assert plant.cells("SF-1", "current_a")["2025-03-01T00:15:00Z"] == 11.0


def test_again_reads_everything_into_the_same_readings(plant: Any) -> None:
    for day in (1, 2, 3):
        plant.drop(f"{day}.csv", TEXT.replace("03-01", f"03-0{day}").replace("30,10", f"{day},{day}"))
        plant.pull()
    before = plant.readings()
    report = plant.pull(again=True)
    assert (report.is_rebuilt, len(report.files)) == (True, 3)
    pd.testing.assert_frame_equal(plant.readings(), before)
    assert len(plant.intake()) == 6


def test_touched_days_are_plant_dates_and_only_those_that_changed(plant: Any) -> None:
    from config import load_site
    from service.store import open_store

    plant.declare(zone="America/Denver")
    plant.drop("a.csv", "Time,SF1 amps\n2025-03-01 23:45,1\n2025-03-02 00:00,1\n")
    plant.pull()
    plant.drop("b.csv", "Time,SF1 amps\n2025-03-01 23:45,1\n2025-03-02 00:00,2\n2025-03-02 00:15,2\n")
    plant.pull()
    with open_store(load_site(plant.folder)) as store:
        touched = dict(store.touched_by_fan(["SF-1", "EF-1"]))
        second = dict(store.touched_by_fan(["SF-1", "EF-1"], since_pass=store.latest_pass() - 1))
    first_day, second_day = dt.date(2025, 3, 1), dt.date(2025, 3, 2)
    assert touched == {"SF-1": [first_day, second_day]}
    assert second == {"SF-1": [second_day]}


def test_days_that_a_new_mapping_no_longer_has_are_touched(plant: Any) -> None:
    from config import load_site
    from service.store import open_store

    plant.drop("a.csv", TEXT)
    plant.pull()
    with open_store(load_site(plant.folder)) as store:
        last = store.latest_pass()
    plant.declare(fans=FANS.replace("EF1 speed", "EF1 other"))
    plant.pull()
    with open_store(load_site(plant.folder)) as store:
        touched = dict(store.touched_by_fan(["SF-1", "EF-1"], since_pass=last))
    assert sorted(touched) == ["EF-1", "SF-1"]
