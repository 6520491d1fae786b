"""From a drop to a verdict by the commands a person types, with what goes wrong on the way."""

import csv
import io
from pathlib import Path

import pytest

from config import load_site
from service.assess import ledger
from service.failure import WorkFailed
from service.store import open_store
from service.store.lease import Holder, Pace
from tests.service.conftest import Run
from tests.service.databases import database_line

HASTY = Pace(poll_s=0.02, patience_s=0.1)
SITE = """name = "Campus"
timezone = "Europe/Berlin"
[[sources]]
name = "nightly"
url = "drop"
[units]
airflow = "m3/h"
pressure = "Pa"
"""
FANS = """fan,drive,motor_kw,motor_fla,motor_rpm,speed_point,current_point,airflow_point,pressure_point
AHU-1,v_belt,11,20.7,1465,AHU1 SPD,AHU1 AMPS,AHU1 FLOW,AHU1 DP
EF-2,v_belt,5.5,10.9,1455,EF2 SPD,EF2 AMPS,,
"""


def export(fan: str, days: range, header: str = "") -> str:
    """Write quarter-hourly readings of a fan that runs by day."""
    lines = [header or f"Timestamp,{fan} SPD,{fan} AMPS,{fan} FLOW,{fan} DP"]
    for day in days:
        for quarter in range(96):
            hour, minute = divmod(15 * quarter, 60)
            speed = 80 - (quarter % 7) if 24 <= quarter < 72 else 0
            values = (speed, 0.15 * speed, 120 * speed, 0.06 * speed**2)
            cells = ",".join(f"{value:g}" for value in values)
            lines.append(f"2025-03-{day:02d} {hour:02d}:{minute:02d},{cells}")
    return "\n".join(lines) + "\n"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "campus"
    (folder / "drop").mkdir(parents=True)
    (folder / "site.toml").write_text(database_line(folder) + SITE, encoding="utf-8")
    (folder / "fans.csv").write_text(FANS, encoding="utf-8")
    return folder


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_assess_before_pull_and_of_an_empty_drop(run: Run, site: Path) -> None:
    for commands in ((), ("pull",)):
        for command in commands:
            assert run(command, site)[0] == 0
        code, out, err = run("assess", site)
        assert (code, out) == (0, "0 of 2 fans brought up to date.\n")
        assert "Traceback" not in err
        code, out, _ = run("export", site, "daily")
        assert code == 0
        assert out.startswith("fan,date,hours,hours_used,slip_pct,")
        assert len(out.splitlines()) == 1
        code, out, _ = run("export", site, "alerts")
        assert out.splitlines() == [
            "fan,kind,level,opened_on,opened_at,act_on,cause,cause_share,closed_on,closed_by,message"
        ]


def test_what_cannot_be_read_costs_its_own_fan_alone(run: Run, site: Path) -> None:
    whole = export("AHU1", range(3, 13))
    (site / "drop" / "ahu1.csv").write_text(whole)
    (site / "drop" / "broken.csv").write_bytes(b"\x00\x01\x02\xff\xfe" * 50)
    (site / "drop" / "empty.csv").write_text("")
    half = export("EF2", range(3, 6))
    (site / "drop" / "half.csv").write_text(half[: len(half) // 2 + 3])
    text = export("EF2", range(6, 8)).replace("80,12,", "80,twelve,", 1)
    (site / "drop" / "text.csv").write_text(text)
    code, _, err = run("pull", site)
    assert code == 0
    assert "Traceback" not in err
    code, out, err = run("assess", site)
    assert (code, out) == (0, "2 of 2 fans brought up to date.\n")
    daily = table(run("export", site, "daily", "--fan", "AHU-1")[1])
    assert [row["date"] for row in daily] == [f"2025-03-{day:02d}" for day in range(3, 13)]
    assert {row["hours"] for row in daily} == {"12.0"}
    # Without a healthy period nothing is judged, and every row says so.
    assert {row["cause"] for row in daily} == {"not_judged"}
    assert all("of 30 days with 3 steady hours" in row["note"] for row in daily)
    assert all(row["slip_pct"] == "" and row["cause_share"] == "" for row in daily)
    intake = {row["file"].rsplit("/", 1)[-1]: row for row in table(run("export", site, "intake")[1])}
    assert intake["text.csv"]["refused"] == "1"
    assert intake["broken.csv"]["rows_read"] == "0"


def test_why_says_what_is_known_and_what_is_not(run: Run, site: Path) -> None:
    code, out, _ = run("why", site, "--fan", "AHU-1")
    assert code == 0
    assert "AHU-1: no row in the ledger; pull and assess first" in out
    (site / "drop" / "ahu1.csv").write_text(export("AHU1", range(3, 13)))
    run("pull", site)
    run("assess", site)
    code, out, _ = run("why", site, "--fan", "AHU-1")
    assert code == 0
    assert out.startswith("AHU-1, 2025-03-12\n")
    assert "not over: 10 of 30 days" in out
    assert "lock out and tag out" in out
    code, out, err = run("why", site, "--fan", "AHU-1", "--date", "2025-02-01")
    assert (code, out) == (2, "")
    assert "AHU-1 has no row in the ledger for 2025-02-01; name a day the fan ran" in err
    code, out, err = run("why", site, "--fan", "AHU1")
    assert (code, out) == (2, "")
    assert "there is no fan 'AHU1'" in err
    assert "AHU-1" in err
    code, out, err = run("why", site, "--fan", "AHU-1", "--date", "12.03.2025")
    assert (code, out) == (2, "")
    assert "'12.03.2025' is no date; write a date as 2025-05-31" in err


@pytest.mark.parametrize(("when", "last"), [("2025-03-07", "2025-03-07"), ("2025-03-07T12:00", "2025-03-06")])
def test_assess_as_of_a_day_or_a_time(run: Run, site: Path, when: str, last: str) -> None:
    (site / "drop" / "ahu1.csv").write_text(export("AHU1", range(3, 13)))
    run("pull", site)
    run("assess", site)
    code, out, _ = run("assess", site, "--as-of", when)
    assert code == 0
    assert f"judged as of {when}: no later day is in the ledger until assess runs without --as-of" in out
    assert table(run("export", site, "daily")[1])[-1]["date"] == last
    assert run("assess", site)[0] == 0
    assert table(run("export", site, "daily")[1])[-1]["date"] == "2025-03-12"


def test_as_of_no_time_is_one_sentence(run: Run, site: Path) -> None:
    code, out, err = run("assess", site, "--as-of", "yesterday")
    assert (code, out) == (2, "")
    assert "'yesterday' is no date or time; write a date as 2025-05-31" in err


def test_an_export_to_a_file_is_that_of_stdout(run: Run, site: Path, tmp_path: Path) -> None:
    (site / "drop" / "ahu1.csv").write_text(export("AHU1", range(3, 6)))
    run("pull", site)
    run("assess", site)
    for name in ("daily", "alerts"):
        target = tmp_path / f"{name}.csv"
        code, out, _ = run("export", site, name, "--out", target)
        assert (code, out) == (0, "")
        assert target.read_text() == run("export", site, name)[1]
    code, _, err = run("export", site, "daily", "--out", tmp_path / "nowhere" / "daily.csv")
    assert code == 1
    assert f"there is no folder {tmp_path / 'nowhere'} to write daily.csv in; make it" in err


@pytest.mark.parametrize(
    ("fans", "said"),
    [
        ("fan,drive,motor_kw\nAHU-1,v_belt,11\n", "point"),
        ("fan,motor_kw,speed_point\nAHU-1,11,AHU1 SPD\n", "drive"),
        (FANS.replace("v_belt,11", "v_belt,eleven"), "eleven"),
        (FANS.replace("airflow_point", "airflow_poit"), "airflow_point"),
    ],
)
def test_a_faulty_schedule_stops_assess_with_its_place(run: Run, site: Path, fans: str, said: str) -> None:
    (site / "fans.csv").write_text(fans)
    code, out, err = run("assess", site)
    assert (code, out) == (2, "")
    assert "fans.csv" in err
    assert said in err
    assert "Traceback" not in err


def test_an_unknown_unit_names_the_known_ones(run: Run, site: Path) -> None:
    (site / "site.toml").write_text(SITE.replace('"m3/h"', '"m3/hour"'))
    code, out, err = run("assess", site)
    assert (code, out) == (2, "")
    assert "site.toml" in err
    assert "m3/h" in err


def test_the_demo_builds_nothing_among_other_files(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    folder.mkdir()
    (folder / "mine.txt").write_text("somebody's own")
    code, out, err = run("demo", folder, "--no-serve")
    assert (code, out) == (2, "")
    assert "holds other files" in err
    assert [path.name for path in folder.iterdir()] == ["mine.txt"]


def test_an_assess_waits_for_who_else_writes(site: Path) -> None:
    (site / "drop" / "ahu1.csv").write_text(export("AHU1", range(3, 6)))
    declared = load_site(site)
    told: list[Holder] = []
    with open_store(declared) as first, open_store(declared, waiting=told.append, pace=HASTY) as second:
        with first.working("pull"), pytest.raises(WorkFailed, match="pull by process"):
            ledger.assess(declared, second)
        assert [holder.what for holder in told] == ["pull"]
        assert ledger.assess(declared, second) == ()


def test_where_no_fan_is_declared_the_answer_says_where_to_declare_one(run: Run, site: Path) -> None:
    header, *_ = (site / "fans.csv").read_text().splitlines()
    (site / "fans.csv").write_text(header + "\n")
    code, out, err = run("why", site, "--fan", "AHU-1")
    assert (code, out) == (2, "")
    assert "there is no fan 'AHU-1'; name a fan of fans.csv" in " ".join(err.split())
