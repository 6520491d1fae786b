"""The command line: what it prints where, with which exit code, and never a traceback."""

import errno
import os
import resource
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError

from analytics.vocabulary import Work
from config import FaultySite, load_site
from config.secrets import MissingSecret
from service.command_line import frame
from service.command_line.outcome import outcome_of
from service.failure import WorkFailed, WrongInput
from service.logbook import append_service
from tests.service.conftest import Run
from tests.service.databases import database_line

ROOT = Path(__file__).parents[2]
FANS = "fan,drive,motor_hp,speed_point\nAHU-1,v_belt,20,AHU1 SPD\nEF-2,v_belt,5,EF2 SPD\n"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "campus"
    folder.mkdir()
    text = f'{database_line(folder)}name = "Campus"\ntimezone = "America/Denver"\n'
    (folder / "site.toml").write_text(text, encoding="utf-8")
    (folder / "fans.csv").write_text(FANS, encoding="utf-8")
    return folder


def python(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        capture_output=True,
        check=False,
        env={**os.environ, **environment},
    )


AS_COMMAND = "import sys; from service.command_line import main; main(sys.argv[1:])"


def test_help_names_every_command_with_a_whole_sentence(run: Run) -> None:
    code, out, err = run("--help")
    assert (code, err) == (0, "")
    listed = out.partition("Commands:")[2].strip().splitlines()
    registered = (*frame.app.registered_commands, *frame.app.registered_groups)
    assert {line.split()[0] for line in listed} == {command.name for command in registered}
    assert all(line.rstrip().endswith(".") and "..." not in line for line in listed)


def test_help_loads_nothing_heavy() -> None:
    done = python("-c", "import sys; from service.command_line import frame; print(*sys.modules)")
    loaded = set(done.stdout.decode().split())
    assert "typer" in loaded
    heavy = {"pandas", "numpy", "sqlalchemy", "pydantic", "pyarrow", "scipy", "rich", "deltalake", "config"}
    assert loaded & heavy == set()


def test_help_takes_less_than_three_tenths_of_a_second() -> None:
    # Its processor time: on a machine with nothing else to do it is what one waits.
    taken = []
    for _ in range(5):
        begin = resource.getrusage(resource.RUSAGE_CHILDREN)
        assert python("-c", AS_COMMAND, "--help").returncode == 0
        end = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(end.ru_utime + end.ru_stime - begin.ru_utime - begin.ru_stime)
    assert min(taken) < 0.3


def test_every_command_has_help_for_each_of_its_options(run: Run) -> None:
    for command in frame.app.registered_commands:
        code, out, _ = run(command.name, "--help")
        assert code == 0
        options = [line.split() for line in out.splitlines() if line.strip().startswith("--")]
        assert all(len(words) > 2 for words in options)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["chekc"], "check"),
        (["newsite"], "new-site"),
        (["log", "x", "--fna", "A"], "--fan"),
        (["check"], "SITE"),
        (["check", "a", "b"], "unexpected"),
        (["log", "x", "--work", "greased"], "--fan"),
    ],
)
def test_wrong_usage_exits_2_and_names_the_nearest(run: Run, arguments: list[str], said: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert "Traceback" not in err


def test_a_new_site_checks_and_says_what_is_left(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "mill"
    code, out, err = run("new-site", folder, "--timezone", "Europe/Dublin")
    assert (code, err) == (0, "")
    assert sorted(path.name for path in folder.iterdir()) == [
        "drop",
        "fans.csv",
        "service_log.csv",
        "site.toml",
    ]
    code, out, err = run("check", folder)
    assert (code, err) == (0, "")
    assert "mill: 0 fans" in out
    assert "Left to fill in:\n- fans.csv: it has no fan yet" in out


def test_a_new_site_overwrites_nothing(run: Run, site: Path) -> None:
    before = (site / "fans.csv").read_bytes()
    code, out, err = run("new-site", site)
    assert (code, out) == (2, "")
    assert "already holds site.toml, fans.csv" in err
    assert (site / "fans.csv").read_bytes() == before
    assert not (site / "drop").exists()


def test_a_new_site_refuses_an_unknown_zone_before_it_writes(run: Run, tmp_path: Path) -> None:
    code, _, err = run("new-site", tmp_path / "x", "--timezone", "America/Dever")
    assert code == 2
    assert "did you mean America/Denver?" in err
    assert not (tmp_path / "x").exists()


def test_check_says_all_faults_on_stderr_and_exits_2(run: Run, site: Path) -> None:
    (site / "fans.csv").write_text(FANS.replace("20", "-20").replace("5,EF2", "x,EF2"), encoding="utf-8")
    (site / "service_log.csv").write_text("fan,date,work\nAHU-1,1/2/25,greased\n", encoding="utf-8")
    code, out, err = run("check", site)
    assert (code, out) == (2, "")
    assert [line.split(":")[0] for line in err.splitlines()[:-1]] == [
        "fans.csv, line 2, motor_hp",
        "fans.csv, line 3, motor_hp",
        "service_log.csv, line 2, date",
    ]
    assert err.splitlines()[-1] == "3 faults; nothing was done."


def test_check_names_tachometer_pairs_that_cannot_be(run: Run, site: Path) -> None:
    sheaves = (
        "fan,drive,motor_hp,speed_point,motor_sheave_mm,fan_sheave_mm\nAHU-1,v_belt,20,AHU1 SPD,100,200\n"
    )
    (site / "fans.csv").write_text(sheaves, encoding="utf-8")
    rows = ["AHU-1,2025-03-01,inspected,1450,716", "AHU-1,2025-03-02,inspected,716,1450"]
    log = "\n".join(["fan,date,work,motor_rpm,fan_rpm", *rows]) + "\n"
    (site / "service_log.csv").write_text(log, encoding="utf-8")
    code, out, _ = run("check", site)
    told = " ".join(out.split())
    assert code == 0
    assert "service_log.csv, line 3, AHU-1: The pair is +305 % off the sheaves' ratio" in told
    assert "line 2" not in told


def test_check_says_what_absent_facts_cost(run: Run, site: Path) -> None:
    code, out, err = run("check", site)
    assert (code, err) == (0, "")
    assert out.startswith("Campus: 2 fans, 2 points, 0 service entries; no fault.\n")
    assert "all 2 fans" in out
    assert max(len(line) for line in out.splitlines()) <= 100


def test_a_folder_that_is_not_there_is_one_sentence(run: Run, tmp_path: Path) -> None:
    code, out, err = run("check", tmp_path / "nowhere")
    assert (code, out) == (2, "")
    assert "nowhere: is not a folder" in err


def test_service_is_entered_and_read_back(run: Run, site: Path) -> None:
    code, out, err = run(
        *("log", site, "--fan", "AHU-1", "--work", "retensioned", "--date", "2025-05-10", "--time", "9:30"),
        *("--motor-rpm", "1420", "--fan-rpm", "905", "--speed", "80", "--no-load-a", "8.5"),
        *("--note", 'two "new"\nbelts, cold'),
    )
    assert (code, out, err) == (0, "Entered: AHU-1, 2025-05-10 09:30, retensioned.\n", "")
    (entry,) = load_site(site).service
    assert (entry.work, entry.motor_rpm, entry.fan_rpm, entry.no_load_a) == (Work.RETENSIONED, 1420, 905, 8.5)
    assert entry.note == 'two "new" belts, cold'


def test_service_without_a_date_is_of_a_day_at_the_site(run: Run, site: Path) -> None:
    assert run("log", site, "--fan", "EF-2", "--work", "greased")[0] == 0
    assert len(load_site(site).service) == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (
            ["--fan", "AHU1", "--work", "greased"],
            "--fan: 'AHU1' is not a fan of fans.csv; did you mean AHU-1?",
        ),
        (
            ["--fan", "AHU-1", "--work", "greesed"],
            "--work: 'greesed' is not a known word; did you mean greased?",
        ),
        (["--fan", "AHU-1", "--work", "greased", "--date", "1/2/25"], "--date: '1/2/25' is not a date"),
        (
            ["--fan", "AHU-1", "--work", "greased", "--motor-rpm", "fast"],
            "--motor-rpm: 'fast' is not a number",
        ),
    ],
)
def test_a_faulty_entry_is_refused_by_its_option_and_nothing_is_written(
    run: Run, site: Path, options: list[str], said: str
) -> None:
    code, out, err = run("log", site, "--date", "2025-01-01", *options)
    assert (code, out) == (2, "")
    assert said in err
    assert not (site / "service_log.csv").exists()


@pytest.mark.parametrize(
    ("motor_rpm", "fan_rpm", "is_doubted"),
    [(1500, 1000, False), (1500, 910, False), (1500, 890, True), (1500, 1040, True), (1000, 1500, True)],
)
def test_a_pair_off_the_sheaves_ratio_is_kept_and_doubted(
    run: Run, site: Path, motor_rpm: int, fan_rpm: int, is_doubted: bool
) -> None:
    fans = "fan,drive,motor_hp,speed_point,motor_sheave_in,fan_sheave_in\nA,v_belt,5,s,8,12\n"
    (site / "fans.csv").write_text(fans, encoding="utf-8")
    code, _, err = run(
        *("log", site, "--fan", "A", "--work", "inspected", "--date", "2025-01-01"),
        *("--motor-rpm", motor_rpm, "--fan-rpm", fan_rpm),
    )
    assert code == 0
    assert ("read it again" in err) is is_doubted
    assert len(load_site(site).service) == 1


@pytest.mark.parametrize(("given", "missing"), [("motor", "fan"), ("fan", "motor")])
def test_one_shaft_alone_is_kept_and_what_is_missing_is_said(
    run: Run, site: Path, given: str, missing: str
) -> None:
    code, _, err = run(
        *("log", site, "--fan", "AHU-1", "--work", "inspected", "--date", "2025-01-01"),
        *(f"--{given}-rpm", 1450),
    )
    told = " ".join(err.split())
    assert code == 0
    assert f"The {given} rpm stands alone" in told
    assert f"enter {missing} rpm beside it" in told
    assert f"AHU-1: The {given} rpm stands alone" in " ".join(run("check", site)[1].split())


def test_an_entry_leaves_every_byte_of_the_log_before_it(site: Path) -> None:
    path = site / "service_log.csv"
    before = "\ufeff# kept by hand\r\nwork;fan;date\r\ngreased;EF-2;2025-01-01\r\n\r\naligned;EF-2;2025-01-02"
    path.write_bytes(before.encode())
    append_service(site, {"fan": "AHU-1", "date": "2025-02-01", "work": "inspected", "note": "hums; Süd"})
    text = path.read_bytes().decode()
    assert text == before.replace("work;fan;date", "work;fan;date;note") + (
        '\r\ninspected;AHU-1;2025-02-01;"hums; Süd"\r\n'
    )
    assert [entry.note for entry in load_site(site).service] == [None, None, "hums; Süd"]


def test_a_log_in_windows_letters_keeps_them(site: Path) -> None:
    path = site / "service_log.csv"
    path.write_bytes("fan,date,work,note\nEF-2,2025-01-01,greased,Süd\n".encode("cp1252"))
    append_service(site, {"fan": "AHU-1", "date": "2025-02-01", "work": "inspected", "note": "Nord ≈ ok"})
    assert [entry.note for entry in load_site(site).service] == ["Süd", "Nord ≈ ok"]


def test_entries_made_at_the_same_time_are_all_kept(site: Path) -> None:
    def enter(day: int) -> None:
        append_service(site, {"fan": "AHU-1", "date": f"2025-01-{day:02d}", "work": "inspected"})

    threads = [threading.Thread(target=enter, args=(day,)) for day in range(1, 13)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(entry.date.day for entry in load_site(site).service) == list(range(1, 13))


def test_an_interrupted_entry_leaves_the_log_as_it_was(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append_service(site, {"fan": "AHU-1", "date": "2025-01-01", "work": "inspected"})
    before = {path.name: path.read_bytes() for path in site.iterdir()}

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        append_service(site, {"fan": "AHU-1", "date": "2025-01-02", "work": "inspected"})
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


def test_a_faulty_site_takes_no_entry(run: Run, site: Path) -> None:
    (site / "fans.csv").write_text(FANS.replace("v_belt", "rope"), encoding="utf-8")
    code, _, err = run("log", site, "--fan", "AHU-1", "--work", "greased", "--date", "2025-01-01")
    assert code == 2
    assert "fans.csv, line 2, drive" in err
    assert not (site / "service_log.csv").exists()


def test_a_backup_goes_into_a_folder_or_a_file_in_tar_and_comes_back(
    run: Run, site: Path, tmp_path: Path
) -> None:
    kept, named = tmp_path / "kept", tmp_path / "named.tar"
    assert run("backup", site, "--to", kept)[0] == 0
    assert [path.suffix for path in kept.iterdir()] == [".tar"]
    assert run("backup", site, "--to", named)[0] == 0
    assert named.is_file()
    assert run("restore", named, tmp_path / "new", "--database", "sqlite:///state/own.db")[0] == 0
    assert load_site(tmp_path / "new").site.name == "Campus"


def test_what_cannot_be_a_backup_is_wrong_usage(run: Run, site: Path, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("notes")
    for arguments, said in (
        (("backup", site, "--to", tmp_path / "notes.txt"), "is a file; name a folder"),
        (("backup", site, "--to", tmp_path / "none" / "kept"), "there is no folder"),
        (("restore", tmp_path / "none.tar", tmp_path / "new"), "there is no file"),
        (("restore", tmp_path / "notes.txt", tmp_path / "new"), "is no backup of this program"),
        (("restore", tmp_path / "notes.txt", site), "is not empty"),
    ):
        code, _, err = run(*arguments)
        assert code == 2
        assert said in " ".join(err.replace("│", " ").split())
    assert not (tmp_path / "new").exists()


def test_each_foreseen_failure_has_its_exit_code() -> None:
    class DriverError(Exception):
        pass

    endings = [
        (WorkFailed("The drop folder is gone."), 1, "The drop folder is gone."),
        (WrongInput("there is no alert 7"), 2, "no alert 7"),
        (FaultySite([]), 2, "nothing was done"),
        (MissingSecret("the environment variable X is not set"), 1, "variable X"),
        (
            PermissionError(errno.EACCES, "Permission denied", "/x/site.toml"),
            1,
            "/x/site.toml: Permission denied",
        ),
        (OperationalError("select 1", {}, DriverError("database is locked")), 1, "database is locked"),
    ]
    for error, code, said in endings:
        outcome = outcome_of(error)
        assert outcome is not None
        assert outcome.exit_code == code
        assert said in " ".join(outcome.sentences)
    assert outcome_of(ZeroDivisionError()) is None  # a mistake of ours is not passed off as the user's


def test_a_terminal_without_utf_8_gets_an_escape_and_no_crash(site: Path) -> None:
    (site / "site.toml").write_text('name = "Zürich ≈"\ntimezone = "Europe/Zurich"\n', encoding="utf-8")
    done = python("-c", AS_COMMAND, "check", str(site), PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stdout.startswith(rb"Z\xfcrich \u2248: 2 fans")


@pytest.mark.parametrize("buffering", ["", "1"])
def test_a_reader_that_leaves_early_is_no_failure(site: Path, buffering: str) -> None:
    script = (
        "import os, sys; from service.command_line import main\n"
        "read, write = os.pipe(); os.close(read); os.dup2(write, 1)\n"
        "main(sys.argv[1:])"
    )
    done = python("-c", script, "check", str(site), PYTHONUNBUFFERED=buffering)
    assert (done.returncode, done.stderr) == (0, b"")
