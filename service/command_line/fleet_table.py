"""The fleet as a table on a terminal, at most a hundred columns wide."""

import textwrap
from typing import Final

from analytics.vocabulary import Cause
from service.store.fleet import FanStanding, Standing
from service.words import CAUTION, told_cause

WIDTH: Final = 100
_HEAD: Final = ("fan", "standing", "slip % (95 %)", "drag %", "since", "why")
_WIDTHS: Final = (22, 12, 16, 6, 10, 29)


def fleet_table(fans: list[FanStanding], currency: str) -> str:
    """Return the table, worst first, with what the numbers are and the cautions below."""
    lines = [_line(_HEAD), "-" * WIDTH]
    lines += [_line(_cells(fan)) for fan in fans]
    lines += ["-" * WIDTH, *_legend(fans, currency)]
    return "\n".join(lines)


def _line(cells: tuple[str, ...]) -> str:
    padded = [_fit(cell, width) for cell, width in zip(cells, _WIDTHS, strict=True)]
    return " ".join(padded).rstrip()


def _fit(cell: str, width: int) -> str:
    return cell.ljust(width) if len(cell) <= width else f"{cell[: width - 2]}.."


def _cells(fan: FanStanding) -> tuple[str, ...]:
    row = fan.row or {}
    slip, drag = "-", "-"
    if row.get("slip_ref_pct") is not None:
        interval = f"({row['slip_ref_low_pct']:.1f}-{row['slip_ref_high_pct']:.1f})"
        is_lost = row.get("cause") == Cause.DRIVE_LOST.value
        held = f"{row['slip_ref_pct']:5.1f} {interval}" if fan.can_slip else "cannot slip"
        slip = " lost" if is_lost else held
    if row.get("drag_ref_pct") is not None:
        drag = f"{round(row['drag_ref_pct'], 1) + 0.0:5.1f}"
    since = "" if fan.since is None else fan.since.isoformat()
    return fan.fan, fan.standing.value, slip, drag, since, _why(fan)


def _why(fan: FanStanding) -> str:
    if fan.standing is Standing.UNSEEN:
        return (fan.row or {}).get("note") or "no readings"
    if fan.alerts:
        alert = fan.alerts[0]
        is_unnamed = alert.cause is Cause.NOT_JUDGED or (alert.cause is Cause.UNCLEAR and not alert.alike)
        return alert.topic if is_unnamed else told_cause(alert.cause, alert.alike)
    return ""


def _legend(fans: list[FanStanding], currency: str) -> list[str]:
    cost = sum(fan.cost_a_year or 0.0 for fan in fans)
    wanted = sum(fan.standing in (Standing.GO_NOW, Standing.GO_SOON, Standing.PLAN) for fan in fans)
    text = (
        f"{wanted} of {len(fans)} fans want a visit. Slip and drag are at each fan's reference torque, slip "
        "with its central 95 % (a healthy belt creeps about 1 %), drag as its rise above healthy. Excess "
        f"power of all fans at today's state: about {cost:,.0f} {currency} a year."
    )
    return [*textwrap.wrap(text, WIDTH), "", *textwrap.wrap(CAUTION, WIDTH)]
