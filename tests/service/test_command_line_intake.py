"""The commands that take exports in and give tables out: what they print, where, and their exit codes."""

import csv
import io
import shlex
import shutil
from pathlib import Path

import pytest

from tests.service.conftest import Run
from tests.service.databases import copy_site, database_line


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    (folder / "drop").mkdir()
    (folder / "site.toml").write_text(database_line(folder) + 'name = "S"\ntimezone = "Europe/Dublin"\n')
    (folder / "fans.csv").write_text(
        "fan,drive,motor_kw,motor_fla,speed_point,current_point,power_point\n"
        "B,direct,11,20,B speed,B amps,\nA,direct,11,20,A speed,A amps,A kW\n"
    )
    header = "Time,A speed,A amps,A kW,B speed,B amps,spare amps"
    (folder / "drop" / "a.csv").write_text(
        f"{header}\n2025-07-01 00:00,50,10,3.5,0,0,1\n2025-07-01 00:15,x,10,3.5,0,,1\n"
    )
    (folder / "drop" / "bad.csv").write_bytes(b"\0\1\2")
    return folder


def test_the_commands_in_the_order_a_person_types_them(run: Run, site: Path) -> None:
    code, out, err = run("pull", site)
    assert (code, err.splitlines()) == (
        0,
        [
            "bad.csv: cannot be read: the file is not text: export it as comma-separated values",
            "1 refused in a.csv; line, value and reason of each: "
            f"slipledger pull {shlex.quote(str(site))} --explain a.csv",
        ],
    )
    assert out == (
        "1 file read, 0 already known, 1 unreadable: 8 values stored, 0 identical, 0 superseded, 1 refused.\n"
    )
    rows = table(run("export", site, "readings")[1])
    assert [(row["fan"], row["time_utc"], row["running"]) for row in rows] == [
        ("A", "2025-06-30T23:00:00Z", "1"),
        ("A", "2025-06-30T23:15:00Z", "1"),
        ("B", "2025-06-30T23:00:00Z", "0"),
        ("B", "2025-06-30T23:15:00Z", "0"),
    ]
    assert (rows[0]["speed_fraction"], rows[0]["power_kw"], rows[1]["speed_fraction"]) == ("0.5", "3.5", "")
    intake = table(run("export", site, "intake")[1])
    assert [(row["file"], row["rows_read"], row["refused"]) for row in intake] == [
        ("a.csv", "9", "1"),
        ("bad.csv", "0", "0"),
    ]
    unused = table(run("points", site)[1])
    assert [(row["point"], row["proposed_role"]) for row in unused] == [("spare amps", "current")]
    assert run("pull", site)[1] == "0 files read, 2 already known; nothing new.\n"
    assert "Everything kept was read again" in run("pull", site, "--again")[1]
    assert "read as: wide, comma, ISO 8601" in run("pull", site, "--explain", "a.csv")[1]


def test_one_fan_and_a_file_to_write_to(run: Run, site: Path, tmp_path: Path) -> None:
    run("pull", site)
    out = tmp_path / "b.csv"
    assert run("export", site, "readings", "--fan", "B", "--out", out)[:2] == (0, "")
    assert {row["fan"] for row in table(out.read_text())} == {"B"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("readngs",), "did you mean readings"),
        (("readings", "--fan", "C"), "no fan 'C'"),
        (("intake", "--fan", "A"), "by file, not by fan"),
    ],
)
def test_wrong_words_are_answered_with_the_right_ones(
    run: Run, site: Path, arguments: tuple[str, ...], words: str
) -> None:
    code, out, err = run("export", site, *arguments)
    assert (code, out) == (2, "")
    assert words in " ".join(err.split())


def test_a_drop_that_is_not_there_is_a_failure_with_its_place(run: Run, site: Path, tmp_path: Path) -> None:
    folder = tmp_path / "site"
    copy_site(site, folder)
    shutil.rmtree(folder / "drop")
    code, _, err = run("pull", folder)
    assert code == 1
    assert "source drop (drop) cannot be reached: there is no folder" in err
    assert run("export", folder, "readings")[0] == 0


def test_an_empty_site_gives_the_headers_alone(run: Run, tmp_path: Path, site: Path) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "drop").mkdir()
    shutil.copy(site / "fans.csv", folder)
    (folder / "site.toml").write_text(database_line(folder) + 'name = "S"\ntimezone = "Europe/Dublin"\n')
    assert run("pull", folder)[1] == "0 files read, 0 already known; nothing new.\n"
    header, *rows = run("export", folder, "readings")[1].splitlines()
    assert header.startswith("fan,time_utc,speed_fraction,current_a,power_kw,")
    assert rows == []
    assert table(run("export", folder, "intake")[1]) == []
