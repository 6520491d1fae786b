"""`slipledger round` and `slipledger log --from`: what they print where, and with which exit code."""

import csv
import io
from pathlib import Path

import pytest

from config import load_site
from tests.service.conftest import Run


def test_a_sheet_goes_out_and_comes_back(run: Run, folder: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "round.csv"
    assert run("round", folder, "--out", sheet) == (0, "", "")
    rows = list(csv.DictReader(io.StringIO(sheet.read_text(encoding="utf-8"))))
    rows[0] |= {
        "date": "2025-06-28",
        "work": "retensioned",
        "left_motor_rpm": "1418",
        "left_wheel_rpm": "470",
    }
    with sheet.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    code, out, err = run("log", folder, "--from", sheet)
    assert (code, out) == (0, "Entered: A-1 whole, 2025-06-28, retensioned.\n")
    assert "1 entry added, 0 in the log before, 3 rows not filled in." in err
    assert run("log", folder, "--from", sheet)[1] == ""
    assert len(load_site(folder).service) == 1


def test_a_sheet_that_is_not_there_is_said_with_the_command_that_writes_one(run: Run, folder: Path) -> None:
    code, out, err = run("log", folder, "--from", "nowhere.csv")
    assert (code, out) == (2, "")
    assert (
        err == "there is no file nowhere.csv; slipledger round SITE --out round.csv writes one to fill in\n"
    )


def test_a_faulty_sheet_ends_with_two_and_every_fault(run: Run, folder: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "round.csv"
    sheet.write_text(
        "fan,date,left_wheel_rpm\nA-1 whole,2025-06-28,fast\nA-9,2025-06-28,\n", encoding="utf-8"
    )
    code, out, err = run("log", folder, "--from", sheet)
    assert (code, out) == (2, "")
    assert "round.csv, line 2, left_wheel_rpm: 'fast' is not a number" in err
    assert "round.csv, line 3, fan: 'A-9' is not a fan of fans.csv" in err
    assert not (folder / "service_log.csv").exists()


def test_the_form_follows_the_files_ending_or_the_option(run: Run, folder: Path, tmp_path: Path) -> None:
    page = tmp_path / "round.html"
    run("round", folder, "--building", "Ash", "--out", page)
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert "B-1 first" not in text
    assert "http" not in text, "it asks for something outside itself"
    code, out, _ = run("round", folder, "--format", "csv", "--quarter", "2025-Q2")
    assert (code, out.splitlines()[1].split(",")[0]) == (0, "A-1 whole")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--out", "round.docx"), "end the file in .html, .csv or .txt"),
        (("--quarter", "2025-Q5"), "2025-Q3"),
        (("--date", "30.6.2025"), "write it as 2025-09-30"),
        (("--date", "2025-06-30", "--quarter", "2025-Q2"), "give one of them"),
        (("--building", "Asch"), "did you mean Ash?"),
        (("--format", "htm"), "did you mean html?"),
    ],
)
def test_wrong_use_is_answered_with_what_to_write(
    run: Run, folder: Path, arguments: tuple[str, ...], said: str
) -> None:
    code, out, err = run("round", folder, *arguments)
    assert (code, out) == (2, "")
    assert said in " ".join(err.split())


def test_log_without_an_entry_or_a_file_says_what_is_missing(run: Run, folder: Path, tmp_path: Path) -> None:
    assert "--from" in run("log", folder)[2]
    sheet = tmp_path / "round.csv"
    assert run("log", folder, "--from", sheet, "--fan", "A-1 whole")[0] == 2
    assert run("log", folder, "--from", sheet)[0] == 2
