"""What `check` finds to say about a sound site: what is left to fill in, what absent facts cost."""

from collections.abc import Callable
from pathlib import Path

import pytest

from analytics.vocabulary import Drive, PressureLocation, Role, Work
from config import check_site, load_site
from config.cost_rules import FAN_RULES
from config.fans import FanRow
from config.service_log import COLUMNS
from config.site import KNOWN_KEYS
from config.templates import FILES, template, write_templates

WriteSite = Callable[..., Path]
SAMPLE = Path(__file__).parent / "sample_site"
SITE = 'name = "Campus"\ntimezone = "America/Denver"\n'
WELL_DECLARED = (
    "fan,building,fan_type,drive,motor_sheave_in,fan_sheave_in,motor_hp,motor_volts,motor_fla,motor_rpm,motor_pf,"
    "motor_efficiency,motor_no_load_a,max_hz,slip_compensation,speed_signal,pressure_location,airflow_basis,"
    "current_at,power_at,speed_point,current_point,power_point,airflow_point,pressure_point,"
    "air_temperature_point,wheel_speed_point\n"
    "A,Hall,airfoil,v_belt,8,12,20,460,25,1760,0.85,0.93,9,60,no,command,across_fan,actual,motor,line,"
    "s,i,p,q,dp,t,w\n"
)


def facts(folder: Path) -> dict[str, str]:
    report = check_site(folder)
    assert report.faults == ()
    return {cost.fact: str(cost) for cost in report.costs}


def without(column: str) -> str:
    """The well-declared fan with one column left out."""
    header, cells = (line.split(",") for line in WELL_DECLARED.splitlines())
    kept = [position for position, name in enumerate(header) if name != column]
    return "\n".join(",".join(row[position] for position in kept) for row in (header, cells)) + "\n"


def test_a_fan_that_says_everything_costs_nothing(write_site: WriteSite) -> None:
    site = (
        SITE
        + 'altitude_m = 1600\nbarometric_pressure_point = "BP"\n'
        + '[baseline]\nfrom = "2025-01-01"\nto = "2025-02-01"\n[mail]\n'
    )
    assert facts(write_site(site, WELL_DECLARED)) == {}


@pytest.mark.parametrize(
    ("column", "fact", "effect"),
    [
        ("speed_point", "speed_point", "cannot be held against its curves"),
        ("pressure_point", "pressure_point", "net of slip and drag"),
        ("airflow_point", "airflow_point", "inferred from pressure"),
        ("power_point", "power_point or torque_point", "drag and a drifting current"),
        ("motor_fla", "motor_fla", "estimate of the rated current"),
        ("motor_no_load_a", "motor_no_load_a", "locked and tagged out"),
        ("motor_rpm", "motor_rpm", "0.2 to 0.8 points of speed"),
        ("motor_efficiency", "motor_efficiency", "usual efficiency"),
        ("pressure_location", "pressure_location", "duct is assumed"),
        ("air_temperature_point", "air_temperature_point", "season"),
        ("fan_type", "fan_type", "of any fan"),
        ("max_hz", "max_hz, zero_hz", "taken for motor_hz"),
        ("speed_signal", "speed_signal", "command"),
        ("slip_compensation", "slip_compensation", "no is assumed"),
        ("airflow_basis", "airflow_basis", "standard flow"),
        ("current_at", "current_at", "line side of a drive"),
        ("power_at", "power_at", "line side"),
        ("motor_sheave_in", "motor_sheave and fan_sheave", "no ratio"),
        ("wheel_speed_point", "wheel_speed_point", "would measure it"),
        ("building", "location", "only the fan's name"),
    ],
)
def test_each_absent_fact_says_what_it_costs(
    write_site: WriteSite, column: str, fact: str, effect: str
) -> None:
    sound = facts(write_site(fans=WELL_DECLARED))
    found = facts(write_site(fans=without(column)))
    assert fact not in sound
    assert effect in found[fact]
    assert "(A)" in found[fact]


def test_what_a_drive_cannot_do_costs_nothing(write_site: WriteSite) -> None:
    header = "fan,drive,motor_hp,speed_control,airflow_point,pressure_point,power_point\n"
    direct = header + "A,direct,5,constant,q,p,w\n"
    found = facts(write_site(fans=direct))
    assert not {"motor_sheave and fan_sheave", "wheel_speed_point", "speed_point", "speed_signal"} & set(
        found
    )


def test_a_large_fleet_stays_readable(write_site: WriteSite) -> None:
    rows = "".join(f"AHU-{n},v_belt,5,s{n},i{n},q{n},p{n}\n" for n in range(300))
    odd = "ODD,v_belt,5,sx,,qx,px\n"
    head = "fan,drive,motor_hp,speed_point,current_point,airflow_point,pressure_point\n"
    costs = check_site(write_site(fans=head + rows + odd)).costs
    assert len(costs) <= len(FAN_RULES) + 5
    assert all(len(str(cost)) < 320 for cost in costs)
    said = [str(cost) for cost in costs]
    assert any("300 of 301 fans: AHU-0, AHU-1, AHU-2 ..." in text for text in said)
    assert any("all 301 fans" in text for text in said)
    assert any("(ODD)" in text for text in said)


def test_a_shared_point_is_said(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,airflow_point\nA,v_belt,5,common\nB,v_belt,5,common\n"
    assert "A, B" in facts(write_site(fans=fans))["airflow_point common"].replace("all 2 fans", "A, B")


def test_a_full_scale_without_effect_is_said(write_site: WriteSite) -> None:
    fans = "fan,drive,motor_hp,pressure_point,pressure_full_scale\nA,v_belt,5,p,5\n"
    assert "no effect" in facts(write_site(fans=fans))["<role>_full_scale"]


def test_only_the_newest_row_of_a_fan_counts(write_site: WriteSite) -> None:
    fans = "fan,from,drive,motor_hp,speed_point,fan_type\nA,2025-02-01,v_belt,5,s,airfoil\nA,,v_belt,5,s,\n"
    assert "fan_type" not in facts(write_site(fans=fans))


def test_the_sample_site_loads() -> None:
    folder = load_site(SAMPLE)
    assert len(folder.fan_names) == 6
    assert folder.site.altitude_m == 60.0
    first = folder.fans[0]
    assert (first.machine.motor_hz, first.machine.motor_rated_power_w) == (50.0, 15000.0)
    assert first.units[Role.AIRFLOW].to_si([1000.0])[0] == pytest.approx(1.0)
    assert folder.fans[1].machine.drive is Drive.DIRECT
    assert folder.fans[5].machine.pressure_location is PressureLocation.DUCT
    assert [entry.work for entry in folder.service] == [Work.RETENSIONED, Work.FILTER_CHANGED]


def test_a_new_site_loads_and_says_what_is_left_to_fill_in(tmp_path: Path) -> None:
    write_templates(tmp_path / "new", 'The "old" mill', "UTC")
    report = check_site(tmp_path / "new")
    assert report.faults == ()
    assert report.folder is not None
    assert report.folder.site.name == 'The "old" mill'
    tasks = [str(cost) for cost in report.costs if cost.is_open_task]
    assert [task.split(":")[0] for task in tasks] == ["fans.csv", "site.toml, timezone"]


def test_the_templates_say_the_defaults_and_name_every_key(tmp_path: Path, write_site: WriteSite) -> None:
    write_templates(tmp_path / "new", "Campus", "America/Denver")
    said = load_site(tmp_path / "new").site
    unsaid = load_site(write_site(fans="fan,drive,motor_hp,speed_point\n")).site
    assert said.model_dump(exclude={"sources"}) == unsaid.model_dump(exclude={"sources"})
    for keys in KNOWN_KEYS.values():
        for key in keys:
            assert key in template("site.toml")


def test_the_commented_lines_of_the_template_load_too(tmp_path: Path) -> None:
    write_templates(tmp_path / "new", "Campus", "America/Denver")
    path = tmp_path / "new" / "site.toml"
    head, _, _ = path.read_text(encoding="utf-8").partition("# ---- fans.csv")
    lines = []
    for line in head.splitlines():
        bare = line.removeprefix("# ")
        is_setting = bare != line and (" = " in bare or bare.startswith("["))
        lines.append(bare if is_setting else line)
    path.write_text("\n".join(lines), encoding="utf-8")
    # The template's routes name a building: one in which a fan must stand.
    fan = "fan,building,drive,motor_hp,speed_point\nSF-1,Alder Hall,direct,10,S1\n"
    (tmp_path / "new" / "fans.csv").write_text(fan, encoding="utf-8")
    site = load_site(tmp_path / "new").site
    assert site.mail is not None
    assert site.baseline is not None
    assert site.sources[0].time_format == "%d/%m/%Y %H:%M"


def test_the_template_schedule_and_log_have_known_columns() -> None:
    assert set(template("fans.csv").strip().split(",")) <= set(FanRow.names())
    assert tuple(template("service_log.csv").strip().split(",")) == COLUMNS


def test_the_legend_and_its_example_hold(tmp_path: Path) -> None:
    legend = template("site.toml").partition("# ---- fans.csv")[2]
    example = [
        line.removeprefix("#").strip() for line in legend.partition("An example:")[2].splitlines()[1:3]
    ]
    write_templates(tmp_path / "new", "Campus", "America/Denver")
    (tmp_path / "new" / "fans.csv").write_text("\n".join(example) + "\n", encoding="utf-8")
    assert load_site(tmp_path / "new").fan_names == ("AHU-1 supply",)
    for word in Work:
        assert word in legend


def test_no_file_of_a_new_site_replaces_one_that_is_there(tmp_path: Path) -> None:
    (tmp_path / FILES[1]).write_text("mine", encoding="utf-8")
    with pytest.raises(FileExistsError):
        write_templates(tmp_path, "Campus", "UTC")
    assert (tmp_path / FILES[1]).read_text(encoding="utf-8") == "mine"
