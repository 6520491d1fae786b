"""`slipledger alert`: the list, an alert's history, and what people say of it."""

import threading
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.command_line.frame import app
from tests.service.alerts.conftest import Book

RUNNER = CliRunner()
SLIPPING = (1.0, 1.0, 3.5, 3.5, 3.5, 3.5)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = Book(tmp_path)
    made.slips("F-1", *SLIPPING)
    made.keep()
    return made


def test_an_alert_is_listed_taken_in_hand_and_ended(book: Book) -> None:
    number = str(book.alert_of("F-1"))
    site = str(book.folder)
    listed = RUNNER.invoke(app, ["alert", site])
    line = f"{number} F-1 2025-06-06 slip past its limit (watch) untouched"
    assert " ".join(listed.stdout.split()) == line
    said = ["--by", "R. Vance", "--note", "belts ordered"]
    assert RUNNER.invoke(app, ["alert", site, "--fan", "F-1", "--acknowledge", *said]).exit_code == 0
    assert "in hand, R. Vance" in RUNNER.invoke(app, ["alert", site, "--fan", "F-1"]).stdout
    done = RUNNER.invoke(app, ["alert", site, "--number", number, "--close", *said])
    assert (done.exit_code, done.stdout) == (0, "")
    assert f"Alert {number} is over." in done.stderr
    empty = RUNNER.invoke(app, ["alert", site])
    assert (empty.stdout, empty.stderr) == ("", "No alert is open.\n")
    history = RUNNER.invoke(app, ["alert", site, "--number", number]).stdout.splitlines()
    assert history[0] == f"Alert {number}, F-1: belt slip, opened 2025-06-06"
    assert len(history) == 5
    assert "handling: untouched -> in hand, by R. Vance (belts ordered)" in history[2]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--fan", "F-9x"], 2, "no fan 'F-9x'"),
        (["--acknowledge", "--by", "R. Vance"], 2, "say which alert is meant"),
        (["--fan", "F-1", "--acknowledge", "--close"], 2, "give one of them"),
        (["--fan", "F-1", "--shelve-until", "July"], 2, "write a date as 2025-05-31"),
        (["--fan", "F-1", "--acknowledge"], 2, "for --by: a name is needed"),
        (["--number", "77"], 2, "there is no alert 77"),
        (["--number", "77", "--acknowledge", "--by", "R. Vance"], 2, "there is no alert 77"),
    ],
)
def test_what_is_wrong_is_said_with_what_to_write(
    book: Book, arguments: list[str], code: int, said: str
) -> None:
    done = RUNNER.invoke(app, ["alert", str(book.folder), *arguments])
    assert done.exit_code == code
    assert said in " ".join(done.stderr.replace("│", " ").split())
    assert book.states("F-1", "handling") == []


def test_what_is_said_of_an_alert_waits_for_who_writes(book: Book) -> None:
    """And says for whom: what is said while an assessment runs comes after it."""
    working, release = threading.Event(), threading.Event()

    def assess() -> None:
        with book.open() as store, store.working("assess"):
            working.set()
            release.wait(30)

    writer = threading.Thread(target=assess)
    writer.start()
    assert working.wait(30)
    threading.Timer(0.6, release.set).start()
    said = ["--acknowledge", "--by", "R. Vance"]
    done = RUNNER.invoke(app, ["alert", str(book.folder), "--fan", "F-1", *said])
    writer.join()
    assert done.exit_code == 0
    assert done.stderr.startswith("Waiting for assess by process")
    assert book.states("F-1", "handling") == [("untouched", "in hand")]
