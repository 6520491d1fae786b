"""What a row of fans.csv means in SI, over time and beside other rows, and how it is refused."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.vocabulary import (
    Drive,
    Duty,
    FanType,
    MotorType,
    PressureLocation,
    Role,
    SpeedControl,
    SpeedSignal,
)
from config import Fault, FaultySite, SiteFolder, check_site, load_site
from config.fans import FanRow
from config.motor import base_frequency_hz, rated_slip, synchronous_rpm

WriteSite = Callable[..., Path]
SITE = 'name = "Campus"\ntimezone = "America/Denver"\n'


def faults_in(folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(FaultySite) as faulty:
        load_site(folder)
    return faulty.value.faults


def row(**cells: str) -> str:
    """A fans.csv of one row: a sound fan with these cells changed or added."""
    named = {"fan": "A", "drive": "v_belt", "motor_hp": "20", "speed_point": "A SPD", **cells}
    return ",".join(named) + "\n" + ",".join(named.values()) + "\n"


def test_four_cells_are_enough_and_the_rest_has_its_default(write_site: WriteSite) -> None:
    (fan,) = load_site(write_site(fans=row())).fans
    machine = fan.machine
    assert machine.drive is Drive.V_BELT
    assert machine.motor_rated_power_w == pytest.approx(20 * 745.69987158)
    assert (machine.duty, machine.fan_type) == (Duty.SUPPLY, FanType.UNKNOWN)
    assert (machine.motor_type, machine.motor_count) == (MotorType.INDUCTION, 1)
    assert (machine.speed_control, machine.speed_signal) == (SpeedControl.VFD, SpeedSignal.COMMAND)
    assert machine.pressure_location is PressureLocation.DUCT
    assert (machine.motor_hz, machine.max_speed_fraction, machine.is_slip_compensated) == (60.0, 1.0, False)
    assert fan.valid_from is None
    assert fan.points == {Role.SPEED: "A SPD"}


def test_ip_and_si_columns_say_the_same(write_site: WriteSite) -> None:
    ip = row(
        design_airflow_cfm="10000",
        design_pressure_inwg="4",
        motor_sheave_in="8",
        fan_sheave_in="12.5",
        centre_distance_in="40",
    )
    si = row(
        motor_hp="",
        motor_kw=repr(20 * 0.745699871582270),
        design_airflow_m3s=repr(10000 * 0.3048**3 / 60),
        design_pressure_pa=repr(4 * 249.08891),
        motor_sheave_mm="203.2",
        fan_sheave_mm="317.5",
        centre_distance_mm="1016",
    )
    (in_ip,) = load_site(write_site(fans=ip)).fans
    (in_si,) = load_site(write_site(fans=si)).fans
    for name in (
        "motor_rated_power_w",
        "design_airflow_m3s",
        "design_pressure_pa",
        "motor_sheave_m",
        "wheel_sheave_m",
    ):
        assert getattr(in_ip.machine, name) == pytest.approx(getattr(in_si.machine, name), rel=1e-9)
    assert in_ip.centre_distance_m == pytest.approx(1.016)


@pytest.mark.parametrize("column", ["design_airflow_ls", "design_airflow_m3h"])
def test_the_other_airflow_columns_are_converted(write_site: WriteSite, column: str) -> None:
    (fan,) = load_site(write_site(fans=row(**{column: "3600"}))).fans
    assert fan.machine.design_airflow_m3s == pytest.approx({"design_airflow_ls": 3.6}.get(column, 1.0))


# Nameplate speeds as they are usual for 2 to 12 poles, common practice, no source.
@pytest.mark.parametrize(
    ("rpm", "hz", "synchronous"),
    [
        (3525, 60, 3600),
        (1760, 60, 1800),
        (1725, 60, 1800),
        (1175, 60, 1200),
        (870, 60, 900),
        (2930, 50, 3000),
        (1465, 50, 1500),
        (1420, 50, 1500),
        (970, 50, 1000),
        (725, 50, 750),
    ],
)
def test_the_base_frequency_is_the_one_the_nameplate_fits(rpm: float, hz: float, synchronous: float) -> None:
    assert base_frequency_hz(rpm, None) == hz
    assert synchronous_rpm(rpm, hz, MotorType.INDUCTION) == synchronous


def test_without_a_speed_the_voltage_of_one_mains_decides() -> None:
    assert base_frequency_hz(None, 400.0) == 50.0
    assert base_frequency_hz(None, 460.0) == 60.0
    assert base_frequency_hz(None, None) == 60.0
    assert base_frequency_hz(580.0, 400.0) == 50.0  # 600 rpm is synchronous at both
    assert base_frequency_hz(580.0, 460.0) == 60.0


@given(rpm=st.floats(200.0, 3600.0), hz=st.sampled_from([50.0, 60.0]))
def test_the_synchronous_speed_is_the_nearest_at_or_above(rpm: float, hz: float) -> None:
    synchronous = synchronous_rpm(rpm, hz, MotorType.INDUCTION)
    pole_pairs = 60.0 * hz / synchronous
    assert pole_pairs == pytest.approx(round(pole_pairs))
    if rpm <= 60.0 * hz:
        assert rated_slip(rpm, hz, MotorType.INDUCTION) >= -1e-12
        assert 60.0 * hz / (round(pole_pairs) + 1) < rpm


def test_a_motor_without_slip_is_scaled_by_its_own_speed() -> None:
    assert synchronous_rpm(2040.0, 60.0, MotorType.PERMANENT_MAGNET) == 2040.0


def test_the_top_frequency_scales_a_speed_in_percent(write_site: WriteSite) -> None:
    cells = {"motor_rpm": "1760", "max_hz": "66", "zero_hz": "6", "min_hz": "12"}
    (fan,) = load_site(write_site(fans=row(**cells))).fans
    assert fan.machine.max_speed_fraction == pytest.approx(1.1)
    assert fan.machine.min_speed_fraction == pytest.approx(0.2)
    np.testing.assert_allclose(fan.units[Role.SPEED].to_si([0.0, 50.0, 100.0]), [0.1, 0.6, 1.1])


def test_a_speed_in_rpm_is_the_motors_over_its_synchronous_speed(write_site: WriteSite) -> None:
    (fan,) = load_site(write_site(fans=row(motor_rpm="1465", speed_unit="rpm"))).fans
    assert fan.units[Role.SPEED].to_si([750.0])[0] == pytest.approx(0.5)
    assert fan.machine.speed_signal is SpeedSignal.MOTOR_RPM
    said = row(motor_rpm="1465", speed_unit="rpm", speed_signal="command")
    assert load_site(write_site(fans=said)).fans[0].machine.speed_signal is SpeedSignal.COMMAND


def test_a_rows_unit_overrides_the_sites(write_site: WriteSite) -> None:
    site = SITE + '[units]\nairflow = "L/s"\n'
    fans = "fan,drive,motor_kw,airflow_point,airflow_unit\nA,v_belt,5,A Q,\nB,v_belt,5,B Q,m3/h\n"
    first, second = load_site(write_site(site, fans)).fans
    assert first.units[Role.AIRFLOW].to_si([1000.0])[0] == pytest.approx(1.0)
    assert second.units[Role.AIRFLOW].to_si([3600.0])[0] == pytest.approx(1.0)


def test_a_current_in_percent_is_of_its_full_scale_else_of_the_rated(write_site: WriteSite) -> None:
    cells = {"current_point": "A I", "current_unit": "percent", "motor_fla": "25", "motor_count": "2"}
    (rated,) = load_site(write_site(fans=row(**cells))).fans
    (scaled,) = load_site(write_site(fans=row(**cells, current_full_scale="80"))).fans
    assert (
        rated.units[Role.CURRENT].to_si([50.0])[0] == 25.0
    )  # the amps of two motors on one drive are the sum
    assert scaled.units[Role.CURRENT].to_si([50.0])[0] == 40.0


def test_a_fans_limits_and_healthy_period_go_before_the_sites(write_site: WriteSite) -> None:
    site = SITE + '[limits]\nslip_watch_pct = 2.5\n[baseline]\nfrom = "2025-01-01"\nto = "2025-02-01"\n'
    fans = (
        "fan,drive,motor_hp,speed_point,slip_act_pct,baseline_from,baseline_to\n"
        "A,v_belt,5,a,4.5,2025-03-01,2025-03-20\nB,v_belt,5,b,,,\n"
    )
    first, second = load_site(write_site(site, fans)).fans
    assert (first.limits.slip_watch_pct, first.limits.slip_act_pct) == (2.5, 4.5)
    assert (second.limits.slip_watch_pct, second.limits.slip_act_pct) == (2.5, 5.0)
    assert first.baseline is not None
    assert second.baseline is not None
    assert first.baseline.first == dt.date(2025, 3, 1)
    assert second.baseline.first == dt.date(2025, 1, 1)


def test_a_fan_rise_is_a_pressure_across_the_fan(write_site: WriteSite) -> None:
    (fan,) = load_site(write_site(fans=row(pressure_location="fan_rise"))).fans
    assert fan.machine.pressure_location is PressureLocation.ACROSS_FAN


def test_a_later_row_with_a_date_starts_a_new_epoch(write_site: WriteSite) -> None:
    fans = (
        "fan,from,drive,motor_hp,speed_point\n"
        "A,2025-06-01,synchronous_belt,20,A SPD\nA,,v_belt,20,A SPD\nB,2025-03-01,direct,5,B SPD\n"
    )
    folder = load_site(write_site(fans=fans))
    assert folder.fan_names == ("A", "B")
    assert [epoch.valid_from for epoch in folder.epochs("A")] == [None, dt.date(2025, 6, 1)]
    drives = [epoch_drive(folder, "A", day) for day in ("2025-05-31", "2025-06-01")]
    assert drives == [Drive.V_BELT, Drive.SYNCHRONOUS_BELT]
    assert folder.epoch_at("B", dt.date(2025, 2, 28)) is None
    assert folder.epochs("C") == ()


def epoch_drive(folder: SiteFolder, fan: str, day: str) -> Drive | None:
    epoch = folder.epoch_at(fan, dt.date.fromisoformat(day))
    return None if epoch is None else epoch.machine.drive


@pytest.mark.parametrize(
    ("cells", "column", "said"),
    [
        ({"drive": "v-belt"}, "drive", "did you mean v_belt?"),
        ({"drive": "timing"}, "drive", "synchronous_belt"),
        ({"drive": ""}, "drive", "add drive"),
        ({"fan": ""}, "fan", "add fan"),
        ({"motor_hp": ""}, "motor_hp", "motor_kw"),
        ({"motor_hp": "20", "motor_kw": "15"}, "motor_kw", "keep one"),
        ({"motor_hp": "-20"}, "motor_hp", "out of range"),
        ({"motor_hp": "0"}, "motor_hp", "out of range"),
        ({"motor_hp": "20 hp"}, "motor_hp", "without a unit"),
        ({"motor_hp": "nan"}, "motor_hp", "not a number"),
        ({"motor_hp": "1_0"}, "motor_hp", "not a number"),
        ({"speed_point": ""}, "speed_point", "at least one"),
        ({"motor_efficiency": "92.1"}, "motor_efficiency", "0.92 for 92 %"),
        ({"motor_pf": "85"}, "motor_pf", "fraction"),
        ({"motor_sheave_mm": "8"}, "motor_sheave_mm", "inches go under"),
        ({"fan_sheave_in": "200"}, "fan_sheave_in", "mm go under"),
        ({"design_pressure_inwg": "-2"}, "design_pressure_inwg", "positive"),
        ({"design_pressure_pa": "2"}, "design_pressure_pa", "inches go under"),
        ({"motor_count": "1.5"}, "motor_count", "whole"),
        ({"sheave_adjustable": "maybe"}, "sheave_adjustable", "yes or no"),
        ({"from": "6/1/2025"}, "from", "YYYY-MM-DD"),
        ({"from": "20250601"}, "from", "YYYY-MM-DD"),
        ({"motor_fla": "10", "motor_no_load_a": "12"}, "motor_no_load_a", "belts off"),
        ({"motor_rpm": "1760", "motor_hz": "50"}, "motor_rpm", "fits no motor at 50 Hz"),
        ({"motor_rpm": "2300"}, "motor_rpm", "fits no motor"),
        ({"motor_rpm": "3700", "motor_hz": "60"}, "motor_rpm", "fits no motor at 60 Hz"),
        ({"motor_fla": "250", "motor_volts": "460"}, "motor_fla", "does not fit"),
        ({"max_hz": "60", "min_hz": "60"}, "min_hz", "not below max_hz"),
        ({"motor_rpm": "1465", "min_hz": "50"}, "min_hz", "not below max_hz (50)"),
        ({"airflow_unit": "cmf", "airflow_point": "q"}, "airflow_unit", "did you mean cfm?"),
        ({"current_point": "i", "current_unit": "percent"}, "current_point", "motor_fla"),
        ({"speed_unit": "rpm"}, "motor_rpm", "speed is in rpm"),
        ({"current_point": "A SPD"}, "current_point", "one meaning"),
        ({"baseline_from": "2025-01-01"}, "baseline_to", "both dates"),
        ({"baseline_from": "2025-02-01", "baseline_to": "2025-01-01"}, "baseline_to", "exchange"),
        ({"slip_watch_pct": "7"}, "slip_watch_pct", "above slip_act_pct"),
        ({"pressure_location": "across fan"}, "pressure_location", "did you mean across_fan?"),
    ],
)
def test_a_fault_in_a_row_is_named_with_its_remedy(
    write_site: WriteSite, cells: dict[str, str], column: str, said: str
) -> None:
    (fault,) = faults_in(write_site(fans=row(**cells)))
    assert (fault.file, fault.row, fault.column) == ("fans.csv", 2, column)
    assert said in str(fault)


def test_a_wrong_header_is_said_once_and_not_for_each_row(write_site: WriteSite) -> None:
    fans = "fan,drve,motor_hp,speed_point,speed_point,\n" + "".join(
        f"F{n},v_belt,5,p{n},,\n" for n in range(9)
    )
    faults = faults_in(write_site(fans=fans))
    assert [(fault.row, fault.column) for fault in faults] == [(1, "drve"), (1, "speed_point"), (1, "drive")]
    assert "did you mean drive?" in str(faults[0])
    assert "twice" in str(faults[1])


def test_a_misspelt_column_is_said_once_and_its_cells_are_not_missed(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_kv,motor_rmp,speed_point,speed_unit\n"
    fans += "".join(f"F{n},v_belt,5,1760,p{n},rpm\n" for n in range(9))
    faults = faults_in(write_site(fans=fans))
    assert [(fault.row, fault.column) for fault in faults] == [(1, "motor_kv"), (1, "motor_rmp")]


def test_a_misspelt_building_is_a_fault_of_the_header_alone(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,buildng,speed_point\n" + "".join(f"F{n},v_belt,5,Elm,p{n}\n" for n in range(2))
    (fault,) = faults_in(write_site(fans=fans))
    assert (fault.row, fault.column) == (1, "buildng")


def test_cells_beyond_the_header_are_a_fault_and_blank_ones_are_not(write_site: WriteSite) -> None:
    sound = "fan,drive,motor_hp,speed_point,,\nA,v_belt,20,A SPD,,,,\n"
    assert load_site(write_site(fans=sound)).fan_names == ("A",)
    (fault,) = faults_in(write_site(fans=sound.replace("SPD,,,,", "SPD,,,,x")))
    assert (fault.row, fault.value) == (2, "x")


def test_the_same_fan_twice_needs_different_dates(write_site: WriteSite) -> None:
    head = "fan,from,drive,motor_hp,speed_point\nA,,v_belt,5,a\n"
    (undated,) = faults_in(write_site(fans=head + "A,,v_belt,5,a\n"))
    (dated,) = faults_in(write_site(fans=head + "A,2025-01-01,v_belt,5,a\nA,2025-01-01,direct,5,a\n"))
    assert (undated.row, undated.column) == (3, "fan")
    assert "on line 2" in str(undated)
    assert (dated.row, dated.column) == (4, "fan")
    assert "from 2025-01-01 on" in str(dated)


@pytest.mark.parametrize(
    ("role", "is_shared"), [("airflow", "is_airflow_shared"), ("pressure", "is_pressure_shared")]
)
def test_two_fans_may_share_an_air_point_and_it_is_marked(
    write_site: WriteSite, role: str, is_shared: str
) -> None:
    fans = f"fan,drive,motor_hp,{role}_point\nA,v_belt,5,common\nB,v_belt,5,common\nC,v_belt,5,own\n"
    marks = [getattr(fan.machine, is_shared) for fan in load_site(write_site(fans=fans)).fans]
    assert marks == [True, True, False]


def test_a_point_kept_from_epoch_to_epoch_is_not_shared(write_site: WriteSite) -> None:
    fans = "fan,from,drive,motor_hp,airflow_point\nA,,v_belt,5,q\nA,2025-01-01,direct,5,q\n"
    assert not any(fan.machine.is_airflow_shared for fan in load_site(write_site(fans=fans)).fans)


@pytest.mark.parametrize("role", ["current", "power", "torque", "motor_speed", "wheel_speed"])
def test_one_machines_own_reading_cannot_be_anothers(write_site: WriteSite, role: str) -> None:
    fans = f"fan,drive,motor_hp,{role}_point\nA,v_belt,5,common\nB,v_belt,5,common\n"
    (fault,) = faults_in(write_site(fans=fans))
    assert (fault.row, fault.column) == (3, f"{role}_point")
    assert "of A (line 2)" in str(fault)


def test_a_point_cannot_be_one_thing_here_and_another_there(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,airflow_point,pressure_point\nA,v_belt,5,x,\nB,v_belt,5,,x\n"
    assert "already airflow_point of A" in str(faults_in(write_site(fans=fans))[0])
    site = SITE + 'barometric_pressure_point = "A SPD"\n'
    assert "whole site" in str(faults_in(write_site(site, row()))[0])


@pytest.mark.parametrize(
    "disguise",
    [
        pytest.param(lambda text: b"\xef\xbb\xbf" + text.encode(), id="byte order mark"),
        pytest.param(lambda text: text.replace("\n", "\r\n").encode(), id="Windows lines"),
        pytest.param(lambda text: text.encode("utf-16"), id="UTF-16"),
        pytest.param(lambda text: text.encode("cp1252"), id="Windows letters"),
        pytest.param(lambda text: text.replace(",", ";").encode(), id="semicolons"),
        pytest.param(lambda text: text.replace(",", "\t").encode(), id="tabs"),
        pytest.param(lambda text: text.replace(",", " , ").encode(), id="spaces round names"),
        pytest.param(lambda text: ("# our fans, 2025\n\n" + text).encode(), id="comment lines"),
        pytest.param(lambda text: text.replace("A,", '"A",').encode(), id="quotation marks"),
        pytest.param(lambda text: text.rstrip().encode(), id="no last line break"),
    ],
)
def test_a_spreadsheets_way_of_saving_changes_nothing(
    write_site: WriteSite, disguise: Callable[[str], bytes]
) -> None:
    folder = load_site(write_site(fans=disguise(row(location="Dach über Küche", motor_rpm="1760.0"))))
    (fan,) = folder.fans
    assert (fan.fan, fan.location, fan.machine.motor_rpm) == ("A", "Dach über Küche", 1760.0)


def test_decimal_commas_are_read_only_where_commas_part_nothing(write_site: WriteSite) -> None:
    with_semicolons = row(motor_hp="7,5").replace(",", ";").replace("7;5", "7,5")
    (fan,) = load_site(write_site(fans=with_semicolons)).fans
    assert fan.machine.motor_rated_power_w == pytest.approx(7.5 * 745.69987158)
    (fault,) = faults_in(write_site(fans=row(motor_hp='"7,5"')))
    assert "decimals after a point" in str(fault)


def test_rows_are_numbered_as_an_editor_numbers_them(write_site: WriteSite) -> None:
    fans = 'fan,drive,motor_hp,speed_point,location\nA,v_belt,5,a,"roof\neast"\n\nB,rope,5,b,\n'
    (fault,) = faults_in(write_site(fans=fans))
    assert fault.row == 5


def test_a_broken_quotation_is_said_and_not_swallowed(write_site: WriteSite) -> None:
    fans = row() + 'B,v_belt,5,"b\nC,v_belt,5,c\n'
    assert "quotation marks" in str(faults_in(write_site(fans=fans))[0])


def test_an_empty_schedule_has_no_header_and_a_bare_header_has_no_fan(write_site: WriteSite) -> None:
    assert "no header" in str(faults_in(write_site(fans=""))[0])
    assert load_site(write_site(fans="fan,drive,motor_hp,speed_point\n")).fan_names == ()


def test_a_missing_schedule_is_said(write_site: WriteSite) -> None:
    folder = write_site()
    (folder / "fans.csv").unlink()
    assert faults_in(folder)[0].file == "fans.csv"


# Written out from the agreed design, so that a column cannot go missing unseen.
AGREED_COLUMNS = """
fan from building location access serves duty criticality round_order fan_type design_airflow_cfm
design_airflow_m3s design_airflow_ls design_airflow_m3h design_pressure_inwg design_pressure_pa design_fan_rpm
fan_max_rpm drive motor_sheave_mm motor_sheave_in fan_sheave_mm fan_sheave_in sheave_adjustable belt_section
belt_length belt_count belt_tensioner centre_distance_mm centre_distance_in bearing_bore_mm bearing_type
bearing_lubrication motor_hp motor_kw motor_type motor_count motor_volts motor_fla motor_rpm motor_hz motor_pf
motor_efficiency motor_no_load_a motor_service_factor speed_control max_hz zero_hz min_hz slip_compensation
speed_signal pressure_location airflow_basis current_at power_at baseline_from baseline_to slip_watch_pct
slip_act_pct drive_loss_rise_watch_pct drive_loss_rise_act_pct hold_days false_alerts_per_fan_year
"""


def test_every_agreed_column_is_known_and_no_other() -> None:
    of_roles = {f"{role}_{what}" for role in Role for what in ("point", "unit", "full_scale")}
    assert set(FanRow.names()) == set(AGREED_COLUMNS.split()) | of_roles


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
@given(
    cells=st.dictionaries(
        st.sampled_from(sorted(FanRow.names())),
        st.text(st.characters(codec="utf-8", exclude_characters="\r\n\x00"), max_size=12),
        min_size=1,
        max_size=8,
    )
)
def test_whatever_stands_in_a_row_it_loads_or_is_refused_by_name(
    write_site: WriteSite, cells: dict[str, str]
) -> None:
    quoted = {name: '"' + text.replace('"', '""') + '"' for name, text in cells.items()}
    report = check_site(write_site(fans=row(**quoted)))
    assert report.folder is not None or report.faults
    assert all(fault.file == "fans.csv" and fault.remedy for fault in report.faults)
