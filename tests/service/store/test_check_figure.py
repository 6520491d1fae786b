"""The check figure against arithmetic done by hand on a drive whose every number is round."""

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from analytics.model import LoadKind
from config import load_site
from service.store import open_store
from service.store.check_figure import CheckFigure, NoCheckFigure, check_figure
from service.store.fitted import curves_as_json
from service.store.ledger_tables import NUMBERS, curves, daily
from service.store.power import daily_power
from tests.analytics.test_measured_torque import curves as healthy_curves
from tests.service.databases import database_line

DAY = dt.date(2025, 6, 11)
HEAD = (
    "fan,drive,motor_kw,motor_rpm,motor_sheave_mm,fan_sheave_mm,design_fan_rpm,slip_compensation,"
    "speed_point,airflow_point,torque_point\n"
)


def figure(folder: Path, fan: str, service: str = "", as_of: dt.date = DAY) -> CheckFigure | NoCheckFigure:
    text = 'name = "S"\ntimezone = "Europe/Dublin"\n[units]\nspeed = "fraction"\n'
    (folder / "site.toml").write_text(database_line(folder) + text)
    (folder / "fans.csv").write_text(HEAD + fan + "\n")
    (folder / "service_log.csv").write_text(f"fan,date,work,motor_rpm,fan_rpm\n{service}")
    site = load_site(folder)
    with open_store(site) as store:
        return check_figure(site, store, "SF", as_of)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """SF runs at 0.9 of 60 Hz at 0.5 of rated torque; slip 6 % on 10 and 11 June, 1 % of it healthy creep."""
    (tmp_path / "site.toml").write_text(database_line(tmp_path) + 'name = "S"\ntimezone = "Europe/Dublin"\n')
    (tmp_path / "fans.csv").write_text(HEAD + "SF,v_belt,10,1750,100,160,,yes,S,A,T\n")
    with open_store(load_site(tmp_path)) as store:
        times = pd.date_range("2025-06-10T23:00Z", periods=24, freq="h").as_unit("us")
        nothing = np.full(24, np.nan)
        frame = pd.DataFrame(
            {"fan": "SF", "time": times, "day": float(DAY.toordinal()), "is_steady": True,
             "speed_fraction": 0.9, "torque_fraction": 0.5,
             "airflow_m3s": 0.9, "pressure_pa": 1.0, "current_a": nothing, "power_w": nothing,
             "stopped_pressure_pa": nothing, "stopped_airflow_m3s": nothing, "wheel_speed_rpm": nothing,
             "motor_speed_rpm": nothing, "air_temperature_c": nothing}
        )  # fmt: skip
        store.hours.append(frame, 1)
        numbers = dict.fromkeys(NUMBERS, 0.0)
        numbers |= {"slip_pct": 6.0, "slip_low_pct": 5.0, "slip_high_pct": 7.0, "slip_change_pct": 5.0}
        numbers |= {"slip_ref_pct": 8.0, "excess_kw": 0.3}
        rows = [
            {"fan": "SF", "date": DAY - dt.timedelta(days=1 - i), "hours": 24.0, "hours_used": 22 + i,
             "cause": "belt_slip", "note": "", "is_healthy_period": False, "digest": "0" * 64,
             "last_reading": dt.datetime(2025, 6, 11, tzinfo=dt.UTC), **numbers}
            for i in range(2)
        ]  # fmt: skip
        fitted = {
            **curves_as_json(healthy_curves(LoadKind.TORQUE)),
            "rated_slip": 0.0,
            "full_current_a": None,
        }
        held = {
            "fan": "SF",
            "epoch": 0,
            "digest": "0" * 64,
            "first_date": dt.date(2025, 2, 1),
            "fitted": fitted,
        }
        with store.writer() as connection:
            connection.execute(sa.insert(daily), rows)
            connection.execute(sa.insert(curves), [held])
    return tmp_path


def test_wheel_speeds_tight_and_as_inferred(folder: Path) -> None:
    found = figure(folder, "SF,v_belt,10,1750,100,160,,yes,S,A,T")
    assert isinstance(found, CheckFigure)
    assert found.command_fraction == pytest.approx(0.9)
    # A slip-compensated four-pole motor at 54 Hz turns at 1,620 rpm; 100 over 160 mm is 0.625.
    assert found.motor_rpm == pytest.approx(1620.0)
    assert found.tight_rpm == pytest.approx(1620.0 * 0.625 * 0.99)
    assert found.inferred_rpm == pytest.approx(1620.0 * 0.625 * 0.94)
    assert (found.lowest_rpm, found.highest_rpm) == pytest.approx((1620 * 0.625 * 0.93, 1620 * 0.625 * 0.95))
    assert found.reference_ratio == pytest.approx(0.625 * 0.92)
    assert found.ratio.rests_on.startswith("sheave pitch diameters of 100 and 160 mm")


def test_a_pair_read_on_the_slipping_belt_does_without_sheaves(folder: Path) -> None:
    # 1,500 and 881.25 rpm at 6 % slip: without slip 937.5, so 0.625.
    found = figure(folder, "SF,v_belt,10,1750,,,,yes,S,A,T", "SF,2025-06-11,inspected,1500,881.25\n")
    assert isinstance(found, CheckFigure)
    assert found.ratio.value == pytest.approx(0.625)
    assert "read while the belt slipped" in found.ratio.rests_on


def test_the_design_speed_is_the_last_resort_and_said_to_be_rough(folder: Path) -> None:
    found = figure(folder, "SF,v_belt,10,1750,,,1050,yes,S,A,T")
    assert isinstance(found, CheckFigure)
    assert found.ratio.value == pytest.approx(0.6)
    assert "rough" in found.ratio.rests_on


@pytest.mark.parametrize(
    ("fan", "missing"),
    [
        ("SF,v_belt,10,1750,,,,yes,S,A,T", "both sheaves' pitch diameters"),
        ("SF,v_belt,10,,100,160,,yes,S,A,T", "nameplate speed"),
    ],
)
def test_what_is_missing_is_said(folder: Path, fan: str, missing: str) -> None:
    found = figure(folder, fan)
    assert isinstance(found, NoCheckFigure)
    assert missing in found.missing


def test_nothing_later_than_the_day_asked_for_is_used(folder: Path) -> None:
    found = figure(folder, "SF,v_belt,10,1750,,,,yes,S,A,T", "SF,2025-06-12,inspected,1500,881.25\n")
    assert isinstance(found, NoCheckFigure)
    before = figure(folder, "SF,v_belt,10,1750,100,160,,yes,S,A,T", as_of=dt.date(2025, 6, 9))
    assert isinstance(before, NoCheckFigure)


def test_a_direct_drive_turns_its_wheel_with_the_motor(folder: Path) -> None:
    found = figure(folder, "SF,direct,10,1750,,,,yes,S,A,T")
    assert isinstance(found, CheckFigure)
    assert found.ratio.value == 1.0
    assert not found.can_slip


def test_the_days_power_measured_and_expected(folder: Path) -> None:
    figure(folder, "SF,v_belt,10,1750,100,160,,yes,S,A,T")
    site = load_site(folder)
    with open_store(site) as store:
        found = daily_power(site, store, "SF", DAY - dt.timedelta(days=1), DAY)
    # Half of rated torque at 0.9 of speed: 4.5 kW of the 10; the excess is 0.3. 10 June has no hours.
    assert found[0] == {"date": DAY - dt.timedelta(days=1), "motor_kw": None, "healthy_kw": None}
    assert (found[1]["motor_kw"], found[1]["healthy_kw"]) == pytest.approx((4.5, 4.2))
