"""What a change is by service log and fans.csv: what must be equal, and whether one instrument read both."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import pytest

from analytics.compared_hours import Basis
from analytics.vocabulary import Role
from config import load_site
from config.folder import SiteFolder
from service.retrofit import Period, dividing_days
from service.retrofit.instruments import recalibrated, two_instruments
from service.retrofit.kinds import change_between

BEFORE = Period(dt.date(2025, 3, 1), dt.date(2025, 3, 28))
AFTER = Period(dt.date(2025, 4, 1), dt.date(2025, 4, 28))
ROW = {
    "fan": "F",
    "drive": "v_belt",
    "motor_kw": "7.5",
    "speed_control": "vfd",
    "speed_point": "S",
    "power_point": "KW",
    "airflow_point": "Q",
    "pressure_point": "P",
}


@pytest.fixture
def declared(tmp_path: Path) -> "Declare":
    return Declare(tmp_path)


class Declare:
    """Writes a site of one fan: its row, what differs from 30 March on, and the log."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __call__(self, later: dict[str, str] | None, log: Sequence[str], **first: str) -> SiteFolder:
        rows = [ROW | first] + ([ROW | first | later | {"from": "2025-03-30"}] if later is not None else [])
        names = list(dict.fromkeys([*ROW, *first, *(later or {}), "from"]))
        lines = [",".join(names), *(",".join(row.get(name, "") for name in names) for row in rows)]
        (self.folder / "site.toml").write_text('name = "One"\ntimezone = "Europe/Vienna"\n')
        (self.folder / "fans.csv").write_text("\n".join(lines) + "\n")
        entries = [f"F,{date},{work}" for date, _, work in (one.partition(" ") for one in log)]
        (self.folder / "service_log.csv").write_text("\n".join(["fan,date,work,role", *entries]) + "\n")
        return load_site(self.folder)


@pytest.mark.parametrize(
    ("later", "log", "basis", "words"),
    [
        (None, ["2025-03-30 retensioned"], Basis.DRIVE, "retensioned"),
        (None, ["2025-03-30 wheel_cleaned"], Basis.DRIVE, "wheel cleaned"),
        (None, ["2025-03-30 sheave_changed"], Basis.AIR, "sheave changed"),
        (None, ["2025-03-30 setpoint_changed"], Basis.AIR, "setpoint changed"),
        (None, ["2025-03-30 retensioned", "2025-03-30 filter_changed"], Basis.AIR, "filter changed"),
        ({"drive": "synchronous_belt"}, [], Basis.DRIVE, "v belt to synchronous belt"),
        ({"speed_control": "inlet_vanes"}, [], Basis.AIR, "vfd to inlet vanes control"),
        ({"motor_kw": "11"}, [], Basis.DRIVE, "another motor"),
        (None, [], Basis.DRIVE, "by default"),
        (None, ["2025-03-10 sheave_changed"], Basis.DRIVE, "by default"),
    ],
)
def test_what_must_be_equal_follows_from_what_was_changed_between_the_periods(
    declared: Declare, later: dict[str, str] | None, log: list[str], basis: Basis, words: str
) -> None:
    found = change_between(declared(later, log), "F", BEFORE, AFTER, None)
    assert found.basis is basis
    assert words in found.basis_reason


def test_what_is_asked_for_goes_before_what_was_changed(declared: Declare) -> None:
    site = declared(None, ["2025-03-30 setpoint_changed"])
    assert change_between(site, "F", BEFORE, AFTER, Basis.DRIVE).basis is Basis.DRIVE


@pytest.mark.parametrize(
    ("later", "log", "first", "is_electrical", "words"),
    [
        (None, ["2025-03-30 retensioned"], {}, True, None),
        (None, ["2025-03-30 motor_replaced"], {}, True, None),
        (None, ["2025-03-30 motor_replaced"], {"power_at": "shaft"}, False, "motor was replaced"),
        ({"motor_kw": "11"}, [], {"power_at": "shaft"}, False, "motor was replaced"),
        (None, ["2025-03-30 drive_replaced"], {}, True, "may supply amps and kW itself"),
        (
            None,
            ["2025-03-30 drive_replaced"],
            {"power_at": "drive_output"},
            True,
            "may supply amps and kW itself",
        ),
        (None, ["2025-03-30 drive_replaced"], {"power_at": "line"}, True, None),
        ({"power_at": "line"}, ["2025-03-30 drive_replaced"], {}, True, "may supply amps and kW itself"),
        ({"speed_control": "constant"}, [], {"power_at": "line"}, True, None),
        ({"power_point": "KW2"}, [], {"power_at": "line"}, True, "from 'KW', after from 'KW2'"),
    ],
)
def test_power_read_by_two_instruments_is_said_to_be(
    declared: Declare,
    later: dict[str, str] | None,
    log: list[str],
    first: dict[str, str],
    is_electrical: bool,
    words: str | None,
) -> None:
    site = declared(later, log, **first)
    change = change_between(site, "F", BEFORE, AFTER, None)
    epochs = [site.epoch_at("F", date) for date in (BEFORE.last, AFTER.first)]
    assert epochs[0] is not None
    assert epochs[1] is not None
    found = two_instruments(change, epochs[0], epochs[1], is_electrical)
    assert (found is None) == (words is None)
    assert words is None or words in str(found)


@pytest.mark.parametrize(
    ("entry", "roles", "is_said"),
    [
        ("2025-03-30 sensor_calibrated,airflow", {Role.AIRFLOW, Role.POWER}, True),
        ("2025-04-10 sensor_calibrated,power", {Role.AIRFLOW, Role.POWER}, True),
        ("2025-03-30 sensor_calibrated,", {Role.AIRFLOW}, True),
        ("2025-03-30 sensor_calibrated,pressure", {Role.AIRFLOW, Role.POWER}, False),
        ("2025-02-20 sensor_calibrated,airflow", {Role.AIRFLOW}, False),
        ("2025-05-02 sensor_calibrated,airflow", {Role.AIRFLOW}, False),
        ("2025-03-30 retensioned,", {Role.AIRFLOW}, False),
    ],
)
def test_a_reading_calibrated_within_the_time_compared_is_two_instruments(
    declared: Declare, entry: str, roles: set[Role], is_said: bool
) -> None:
    change = change_between(declared(None, [entry]), "F", BEFORE, AFTER, None)
    assert (recalibrated(change, roles) is not None) == is_said


def test_work_within_a_week_is_one_change_and_an_inspection_is_none(declared: Declare) -> None:
    log = ["2025-03-30 belt_replaced", "2025-04-01 retensioned", "2025-04-20 greased", "2025-05-09 inspected"]
    found = dividing_days(declared({"motor_kw": "11"}, log), "F")
    assert [(str(one.first), str(one.last)) for one in found] == [
        ("2025-04-20", "2025-04-20"),
        ("2025-03-30", "2025-04-01"),
    ]
    assert set(found[1].what) == {"belt replaced", "retensioned", "another motor (fans.csv)"}
