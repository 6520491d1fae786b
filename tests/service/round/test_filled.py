"""Filled sheets: what becomes an entry, every fault said, all or nothing, the same sheet once only."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.vocabulary import Work
from config import FaultySite, load_site
from service.round import enter_filled, plan_round, round_csv
from service.round.fields import shielded, unshielded
from service.store import open_store


@pytest.fixture
def printed(folder: Path) -> list[dict[str, str]]:
    site = load_site(folder)
    with open_store(site) as store:
        return list(csv.DictReader(io.StringIO(round_csv(plan_round(site, store)))))


def filled(folder: Path, rows: list[dict[str, str]]) -> Path:
    file = folder.parent / "filled.csv"
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return file


def faults(folder: Path, file: Path) -> Iterator[str]:
    log = folder / "service_log.csv"
    before = log.read_bytes() if log.exists() else None
    with pytest.raises(FaultySite) as refused:
        enter_filled(folder, file)
    assert (log.read_bytes() if log.exists() else None) == before, "something was half written"
    yield from (str(fault) for fault in refused.value.faults)


WHOLE = {
    "date": "2025-06-28",
    "by": "R. Moss",
    "found_time": "09:10",
    "found_command": "80",
    "found_motor_rpm": "1420",
    "found_wheel_rpm": "460",
    "found_amps": "9.1 9.0 9.2",
    "work": "belt replaced; aligned",
    "left_time": "10:20",
    "left_command": "80",
    "left_motor_rpm": "1418",
    "left_wheel_rpm": "470",
    "left_no_load_a": "4.1",
    "left_force": "14 N",
    "guard_refitted": "yes",
    "rotation_seen": "x",
    "auto_restored": "no",
    "recheck_on": "2025-06-30",
    "note": "grooves shiny",
}


def test_a_sheet_becomes_what_was_found_and_what_was_done(
    folder: Path, printed: list[dict[str, str]]
) -> None:
    printed[0] |= WHOLE
    entered = enter_filled(folder, filled(folder, printed))
    assert (len(entered.added), entered.known, entered.blank) == (3, 0, 3)
    found, belts, aligned = load_site(folder).service
    assert (found.work, found.motor_rpm, found.fan_rpm) == (Work.INSPECTED, 1420.0, 460.0)
    assert found.speed_fraction == pytest.approx(0.8)
    assert found.note == "as found: amps 9.1 9.0 9.2"
    assert (belts.work, belts.motor_rpm, belts.note) == (Work.BELT_REPLACED, None, None)
    assert (aligned.work, aligned.motor_rpm, aligned.no_load_a) == (Work.ALIGNED, 1418.0, 4.1)
    assert str(aligned.time) == "10:20:00"
    assert aligned.note == (
        "as left: force a belt 14 N; guard refitted; rotation seen; NOT automatic restored; "
        "recheck on 2025-06-30; by R. Moss; grooves shiny"
    )


def test_the_same_sheet_again_adds_nothing(folder: Path, printed: list[dict[str, str]]) -> None:
    printed[0] |= WHOLE
    file = filled(folder, printed)
    enter_filled(folder, file)
    before = (folder / "service_log.csv").read_bytes()
    again = enter_filled(folder, file)
    assert (len(again.added), again.known) == (0, 3)
    assert (folder / "service_log.csv").read_bytes() == before


def test_a_row_with_nothing_but_a_date_was_looked_at(folder: Path, printed: list[dict[str, str]]) -> None:
    printed[2]["date"] = "2025-06-28"
    (entry,) = enter_filled(folder, filled(folder, printed)).added
    assert (entry.fan, entry.work, entry.note) == ("B-1 first", Work.INSPECTED, None)


def test_every_fault_is_said_with_line_and_column_and_nothing_is_entered(
    folder: Path, printed: list[dict[str, str]]
) -> None:
    printed[0] |= WHOLE | {"left_motor_rpm": "14l8", "work": "retentioned", "guard_refitted": "perhaps"}
    printed[1] |= {"found_amps": "9"}
    printed[2] |= {"date": "28.06.2025"}
    printed[3] |= {"fan": "B-2 latte", "date": "2025-06-28"}
    told = list(faults(folder, filled(folder, printed)))
    assert any(one.startswith("filled.csv, line 2, left_motor_rpm: '14l8' is not a number") for one in told)
    assert any("line 2, work: 'retentioned'" in one and "retensioned" in one for one in told)
    assert any(
        "line 2, guard_refitted: 'perhaps' is neither yes nor no; write yes or no" in one for one in told
    )
    assert any("line 3, date: is not filled in" in one for one in told)
    assert any("line 4, date: '28.06.2025' is not a date" in one for one in told)
    assert any("line 5, fan: 'B-2 latte'" in one and "did you mean B-2 late?" in one for one in told)
    assert not (folder / "service_log.csv").exists()


def test_an_unknown_column_is_answered_with_the_nearest(folder: Path, printed: list[dict[str, str]]) -> None:
    rows = [{**row, "left_wheel_rmp": "470"} for row in printed]
    assert any(
        "left_wheel_rmp" in one and "left_wheel_rpm" in one for one in faults(folder, filled(folder, rows))
    )


def test_a_piece_of_the_service_log_is_taken_too(folder: Path) -> None:
    file = folder.parent / "piece.csv"
    file.write_text(
        "fan,date,work,motor_rpm,fan_rpm\nA-1 whole,2025-06-28,retensioned,1418,470\nB-2 "
        "late,2025-06-28,greased,,\n",
        encoding="utf-8",
    )
    assert len(enter_filled(folder, file).added) == 2
    assert enter_filled(folder, file).known == 2


def test_a_spreadsheets_semicolons_and_decimal_commas_are_read(folder: Path) -> None:
    file = folder.parent / "sheet.csv"
    file.write_text("fan;date;work;left_no_load_a\nA-1 whole;2025-06-28;retensioned;4,1\n", encoding="cp1252")
    (entry,) = enter_filled(folder, file).added
    assert entry.no_load_a == 4.1


def test_a_name_that_looks_like_a_formula_comes_back_as_it_was() -> None:
    for name in ("=HYPERLINK(1)", "-5 supply", "@x", "plain", "'quoted"):
        assert unshielded(shielded(name)) == name
    assert shielded("=1") == "'=1"
