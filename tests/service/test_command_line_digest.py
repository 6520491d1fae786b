"""`slipledger digest` from a terminal: printed, written as a file, refused."""

import datetime as dt
from email import message_from_bytes
from email.policy import SMTP
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.command_line.frame import app
from tests.service.mail.conftest import Ledger

RUNNER = CliRunner()


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    made = Ledger(tmp_path)
    made.quiet("RF-1", "LEF-1", "AH-2")
    return made


def test_it_prints_the_text_part(ledger: Ledger) -> None:
    done = RUNNER.invoke(app, ["digest", str(ledger.folder), "--week", "2025-W24"])
    assert done.exit_code == 0
    assert done.stdout.startswith("A quiet week: 3 fans watched")


def test_it_writes_a_mail_file_dated_when_the_week_ended(ledger: Ledger, tmp_path: Path) -> None:
    out = tmp_path / "week.eml"
    done = RUNNER.invoke(app, ["digest", str(ledger.folder), "--week", "2025-W24", "--out", str(out)])
    assert (done.exit_code, done.stdout) == (0, "")
    message = message_from_bytes(out.read_bytes(), policy=SMTP)
    assert message["To"] == "manager@college.example, Shop <shop@college.example>"
    assert message["Date"].datetime == dt.datetime(2025, 6, 16, 6, 0, tzinfo=dt.UTC)
    first = out.read_bytes()
    RUNNER.invoke(app, ["digest", str(ledger.folder), "--week", "2025-W24", "--out", str(out)])
    assert message_from_bytes(first)["Message-ID"] == message_from_bytes(out.read_bytes())["Message-ID"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--week", "2025-W54"], "2025-W20"),
        (["--week", "June"], "2025-W20"),
        (["--out", "x.eml", "--send"], "give one of them"),
    ],
)
def test_wrong_usage_is_answered_with_what_to_write(ledger: Ledger, arguments: list[str], said: str) -> None:
    done = RUNNER.invoke(app, ["digest", str(ledger.folder), *arguments])
    assert done.exit_code == 2
    assert said in done.stderr


def without_mail(ledger: Ledger) -> None:
    toml = ledger.folder / "site.toml"
    toml.write_text(toml.read_text().split("[mail]", maxsplit=1)[0])


def test_without_recipients_a_file_is_to_nobody_from_the_usual_sender(ledger: Ledger, tmp_path: Path) -> None:
    without_mail(ledger)
    out = tmp_path / "week.eml"
    done = RUNNER.invoke(app, ["digest", str(ledger.folder), "--week", "2025-W24", "--out", str(out)])
    assert done.exit_code == 0
    message = message_from_bytes(out.read_bytes(), policy=SMTP)
    assert (message["From"], message["To"]) == ("slipledger@localhost", "undisclosed-recipients:;")


def test_without_recipients_nothing_is_sent(ledger: Ledger) -> None:
    without_mail(ledger)
    done = RUNNER.invoke(app, ["digest", str(ledger.folder), "--week", "2025-W24", "--send"])
    assert done.exit_code == 2
    assert "[mail]" in done.stderr


def test_without_readings_or_a_week_it_says_what_to_do(ledger: Ledger) -> None:
    done = RUNNER.invoke(app, ["digest", str(ledger.folder)])
    assert done.exit_code == 1
    assert "pull first" in done.stderr
