"""Which rows wait for their days to be told, and what do they say then?

A state goes on day by day; the rows of many days are found together, which costs far less.
"""

import datetime as dt
from dataclasses import dataclass, field
from typing import Any, Final

from analytics.new_normal import Normal, normal_as_json
from analytics.telling import Untold, told
from service.assess.lanes import DayPlan, Lane
from service.assess.references import CARRIED
from service.assess.rows import TellingNumbers, blank_row, judged_row, with_lost_hours

# What they hold stays near the processor, and a call's own cost is shared by enough of them.
_FAN_DAYS_AT_ONCE: Final = 192


@dataclass(slots=True)
class WaitingRow:
    """A day of a lane on its way into the ledger.

    `reason` why it is not judged, `place` of what is told among the days that wait, None where it is not;
    `lost_hours` in which the drive was lost and `lost_kw`, the mean power that reached no wheel in them, None
    where it was not read; `is_watched` from the healthy period on; `is_levelled` where a pair moved the level
    of slip; `notes` of the day; `judged_on`, `normal` and `state` as they stand after it.
    """

    lane: Lane
    plan: DayPlan
    reason: str = ""
    place: int | None = None
    hours_used: int = 0
    lost_hours: int = 0
    lost_kw: float | None = None
    is_lost_at_end: bool = False
    is_watched: bool = False
    is_levelled: bool = False
    notes: list[str] = field(default_factory=list)
    judged_on: dt.date | None = None
    normal: Normal = field(default_factory=dict)
    state: bytes | None = None


@dataclass(slots=True)
class WaitingRows:
    """Rows in order of date, and the judged days among them that are still to be told."""

    rows: list[WaitingRow] = field(default_factory=list)
    days: list[Untold] = field(default_factory=list)
    fan_days: int = 0

    def judged(self, day: Untold) -> range:
        """Take up a judged day; return the places of its fans in what will be told."""
        first = self.fan_days
        self.days.append(day)
        self.fan_days += len(day.pairs)
        return range(first, self.fan_days)

    def add(self, row: WaitingRow) -> None:
        """Let a row wait; a lane's rows come in order of date."""
        self.rows.append(row)

    @property
    def are_many(self) -> bool:
        """Whether more of them would cost memory and save nothing."""
        return self.fan_days >= _FAN_DAYS_AT_ONCE

    def written(self) -> list[dict[str, Any]]:
        """Tell the days and return the rows; none waits any longer."""
        numbers = TellingNumbers.of(told(self.days)) if self.days else None
        found = [_written(row, numbers) for row in self.rows]
        self.rows, self.days, self.fan_days = [], [], 0
        return found


def _written(row: WaitingRow, numbers: TellingNumbers | None) -> dict[str, Any]:
    lane, plan = row.lane, row.plan
    if row.is_watched:
        lane.trend.served(plan.date, plan.service, can_slip=lane.can_slip)
    if row.is_levelled:
        lane.trend.levelled(plan.date)
    if row.place is None or numbers is None:
        written = blank_row(lane, plan, row.hours_used, row.reason, row.notes)
    else:
        written = judged_row(lane, plan, row.hours_used, row.notes, numbers=numbers, index=row.place)
        if not row.is_lost_at_end:
            lane.carried = {name: written[name] for name in CARRIED}
    written = with_lost_hours(written, row.lost_hours, row.lost_kw, is_lost_at_end=row.is_lost_at_end)
    written.update(judged_on=row.judged_on, new_normal=normal_as_json(row.normal), state=row.state)
    return written
