"""What service_log.csv means and how it is refused."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

from analytics.vocabulary import Role, Work
from config import Fault, FaultySite, load_site
from config.service_log import COLUMNS

WriteSite = Callable[..., Path]
FANS = (
    "fan,from,drive,motor_hp,motor_rpm,speed_point,speed_unit\n"
    "A,,v_belt,20,1760,a,\nA,2025-06-01,v_belt,20,1760,a,Hz\n"
)


def faults_in(folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(FaultySite) as faulty:
        load_site(folder)
    return faulty.value.faults


def test_the_agreed_columns_are_known() -> None:
    agreed = "fan, date, time, work, role, motor_rpm, fan_rpm, speed, no_load_a, note"
    assert ", ".join(COLUMNS) == agreed


def test_an_entry_is_read_whole(write_site: WriteSite) -> None:
    log = (
        "fan,date,time,work,role,motor_rpm,fan_rpm,speed,no_load_a,note\n"
        'A,2025-05-10,9:05,sensor_calibrated,airflow,1420,905,80,8.5,"strobe, cold"\n'
    )
    (entry,) = load_site(write_site(fans=FANS, service=log)).service
    assert (entry.fan, entry.date, entry.time) == ("A", dt.date(2025, 5, 10), dt.time(9, 5))
    assert (entry.work, entry.role) == (Work.SENSOR_CALIBRATED, Role.AIRFLOW)
    assert (entry.motor_rpm, entry.fan_rpm, entry.no_load_a) == (1420.0, 905.0, 8.5)
    assert entry.speed_fraction == pytest.approx(0.8)
    assert (entry.note, entry.row) == ("strobe, cold", 2)


def test_a_speed_is_read_in_the_unit_of_that_days_row(write_site: WriteSite) -> None:
    log = "fan,date,work,speed\nA,2025-05-31,inspected,50\nA,2025-06-01,inspected,30\n"
    entries = load_site(write_site(fans=FANS, service=log)).service
    assert [entry.speed_fraction for entry in entries] == [pytest.approx(0.5), pytest.approx(0.5)]


def test_columns_may_be_absent_and_the_log_too(write_site: WriteSite) -> None:
    assert load_site(write_site()).service == ()
    (entry,) = load_site(write_site(fans=FANS, service="work,fan,date\ngreased,A,2025-01-01\n")).service
    assert (entry.time, entry.note, entry.speed_fraction) == (None, None, None)


@pytest.mark.parametrize("work", list(Work))
def test_every_kind_of_work_is_known(write_site: WriteSite, work: Work) -> None:
    (entry,) = load_site(write_site(fans=FANS, service=f"fan,date,work\nA,2025-01-01,{work}\n")).service
    assert entry.work is work


@pytest.mark.parametrize(
    ("cells", "column", "said"),
    [
        ("B,2025-01-01,,greased,,,,,", "fan", "is not a fan of fans.csv"),
        ("A,1/1/2025,,greased,,,,,", "date", "YYYY-MM-DD"),
        ("A,,,greased,,,,,", "date", "add date"),
        ("A,2025-01-01,25:00,greased,,,,,", "time", "HH:MM"),
        ("A,2025-01-01,9 am,greased,,,,,", "time", "HH:MM"),
        ("A,2025-01-01,,tensioned,,,,,", "work", "did you mean retensioned?"),
        ("A,2025-01-01,,,,,,,", "work", "add work"),
        ("A,2025-01-01,,sensor_calibrated,air flow,,,,", "role", "did you mean airflow?"),
        ("A,2025-01-01,,inspected,,3,,,", "motor_rpm", "out of range"),
        ("A,2025-01-01,,inspected,,,fast,,", "fan_rpm", "not a number"),
        ("A,2025-01-01,,inspected,,,,900,", "speed", "unit of the fan's speed point"),
        ("A,2025-01-01,,inspected,,,,,0", "no_load_a", "belts off"),
    ],
)
def test_a_fault_is_named_with_its_remedy(write_site: WriteSite, cells: str, column: str, said: str) -> None:
    log = f"fan,date,time,work,role,motor_rpm,fan_rpm,speed,no_load_a\nA,2025-01-01,,greased,,,,,\n{cells}\n"
    (fault,) = faults_in(write_site(fans=FANS, service=log))
    assert (fault.file, fault.row, fault.column) == ("service_log.csv", 3, column)
    assert said in str(fault)


def test_an_unknown_fan_is_answered_with_the_nearest(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,speed_point\nLab exhaust 1,v_belt,5,a\n"
    log = "fan,date,work\nLab exhuast 1,2025-01-01,greased\n"
    assert "did you mean Lab exhaust 1?" in str(faults_in(write_site(fans=fans, service=log))[0])


def test_a_fan_whose_own_row_is_faulty_is_not_called_unknown(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,speed_point\nA,rope,5,a\n"
    faults = faults_in(write_site(fans=fans, service="fan,date,work\nA,2025-01-01,greased\n"))
    assert [fault.file for fault in faults] == ["fans.csv"]
