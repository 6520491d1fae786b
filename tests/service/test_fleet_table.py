"""The fleet on a terminal: each number says what it can, and no more."""

from typing import Any

from analytics.vocabulary import Cause
from service.command_line.fleet_table import WIDTH, fleet_table
from service.store.fleet import FanStanding, Standing


def line(*, can_slip: bool = True, **changed: Any) -> str:
    row = {
        "slip_ref_pct": 2.34,
        "slip_ref_low_pct": 1.2,
        "slip_ref_high_pct": 3.4,
        "drag_ref_pct": 0.4,
        "cause": Cause.NONE.value,
    } | changed
    fan = FanStanding("Hall SF-1", "Hall", Standing.TIGHT, row, row, (), 24.0, None, can_slip=can_slip)
    return fleet_table([fan], "EUR").splitlines()[2]


def test_slip_is_shown_with_its_interval_and_drag_beside_it() -> None:
    assert line().split() == ["Hall", "SF-1", "tight", "2.3", "(1.2-3.4)", "0.4"]


def test_a_drag_that_rounds_to_nothing_has_no_sign() -> None:
    assert line(drag_ref_pct=-0.04).split()[-1] == "0.0"
    assert line(drag_ref_pct=-0.4).split()[-1] == "-0.4"


def test_a_drive_that_cannot_slip_shows_no_slip() -> None:
    shown = line(can_slip=False, slip_ref_pct=0.0, slip_ref_low_pct=0.0, slip_ref_high_pct=0.0)
    assert "cannot slip" in shown
    assert "(0.0" not in shown


def test_a_lost_drive_is_lost_whatever_the_drive() -> None:
    for can_slip in (True, False):
        assert " lost" in line(can_slip=can_slip, cause=Cause.DRIVE_LOST.value, slip_ref_pct=100.0)


def test_no_line_is_wider_than_the_terminal_it_is_made_for() -> None:
    assert len(line(slip_ref_pct=100.0, slip_ref_high_pct=100.0)) <= WIDTH
