"""Write the ledger of a batch of fans again, from the first day that changed."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from analytics.arrays import Bools, Floats, column
from analytics.curves import HealthyCurves
from analytics.day_hours import (
    LEAST_HOURS_JUDGED,
    Integers,
    LaneHours,
    day_wheel,
    day_zeros,
    lane_hours,
    packed_days,
)
from analytics.judging import FanDay, Fleet, carried_day, first_state, fleet
from analytics.lost_power import lost_power_kw
from analytics.machine import Machine
from analytics.model import Operating
from analytics.new_normal import begun
from analytics.scaled_hours import needed_readings, scaled_hours
from analytics.vocabulary import Role
from service.assess.lanes import DayPlan, Lane
from service.assess.pairs import hear, keep_compared, known_now, ratio_sd_pct, taken
from service.assess.rows import blank_row, hours_after, learned_words, reason_not_judged
from service.assess.states import CarriedStates
from service.assess.trend import fill_forecasts
from service.assess.unread import Unread, unread
from service.assess.waiting import WaitingRow, WaitingRows

# From the hour a drive was lost to the hour it was sound again, None while it lasts.
LostSpans = Mapping[str, Sequence[tuple[dt.datetime, dt.datetime | None]]]
# The plant's own hour of each operating point.
LOCAL_HOUR: Final = "local_hour"
_FOREVER: Final = dt.datetime.max.replace(tzinfo=dt.UTC)


@dataclass(slots=True)
class _Running:
    """A lane under way: its hours in the model's units, found by day.

    `packed` its days as the model sees them; `begins`, `ends` (days,) where each day's hours stand;
    `is_in_span` from the hour the drive was lost until it is whole again, running or not; `is_lost` the
    hours of it in which the fan ran, `lost_kw` the power that reached no wheel in them; `is_steady` the
    steady hours that the day lets count, `is_read` by role the hours with the readings that each needs.
    """

    lane: Lane
    machine: Machine
    curves: HealthyCurves
    hours: LaneHours
    packed: Operating
    begins: Integers
    ends: Integers
    local_hour: Integers
    is_in_span: Bools
    is_lost: Bools
    lost_kw: Floats
    is_steady: Bools
    is_read: Mapping[Role, Bools]

    def of_day(self, number: int) -> slice:
        """Return where the hours of the lane's day of a number stand."""
        return slice(int(self.begins[number]), int(self.ends[number]))

    def unread(self, number: int) -> Unread:
        """Return the readings for want of which the lane's day of a number has too few hours."""
        return unread(self.is_steady, self.is_read, self.of_day(number))

    def operating(self, number: int) -> Operating:
        """Return the lane's day of a number as the model sees it."""
        one, whole = slice(number, number + 1), self.packed
        return Operating(
            whole.speed[one],
            whole.airflow[one],
            whole.density[one],
            whole.pressure[one],
            whole.load[one],
            whole.is_used[one],
        )


def judge(
    lanes: Sequence[Lane], hours: Mapping[str, pd.DataFrame], lost: LostSpans
) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of all lanes by fan, in order of date.

    Parameters: `lanes`; `hours`, each fan's operating points over its days, with LOCAL_HOUR; `lost`, from
    when to when each fan's drive was lost.
    """
    # A fan's later stretch begins with a state of its own, so that lanes run side by side.
    able = [lane for lane in lanes if lane.learned.curves is not None]
    rows = _run([_prepare(lane, hours[lane.fan], lost) for lane in able])
    # What a lane without curves carries, the lanes before it have found by now.
    rows += [
        blank_row(lane, plan, 0, lane.learned.reason)
        for lane in lanes
        if lane.learned.curves is None
        for plan in lane.days
    ]
    by_fan: dict[str, list[dict[str, Any]]] = {}
    for row in sorted(rows, key=lambda row: (row["fan"], row["date"])):
        by_fan.setdefault(row["fan"], []).append(row)
    return by_fan


def _prepare(lane: Lane, hours: pd.DataFrame, lost: LostSpans) -> _Running:
    curves = lane.learned.curves
    if curves is None:
        raise ValueError(f"{lane.fan} has no healthy curves to be judged by")
    machine = lane.learned.machine
    is_in_span = np.zeros(len(hours), dtype=bool)
    for begin, end in lost.get(lane.fan, ()):
        inside = (hours["time"] >= begin) & (hours["time"] < (end or _FOREVER))
        is_in_span |= inside.to_numpy(dtype=bool)
    is_lost = is_in_span & (hours["running"].to_numpy(dtype=np.float64) > 0)
    scaled = scaled_hours(hours, machine, curves.channels)
    seen = lane_hours(scaled, curves)
    local_hour = hours[LOCAL_HOUR].to_numpy(dtype=np.int64)
    days = np.array([plan.date.toordinal() for plan in lane.days])
    begins, ends = np.searchsorted(hours["day"].to_numpy(dtype=np.float64), [days, days + 1])
    is_counted = ~is_lost
    for plan, begin, end in zip(lane.days, begins, ends, strict=True):
        if plan.visit_at:
            is_counted[begin:end] &= hours_after(plan.visit_at, local_hour[begin:end])
    packed = packed_days(seen, begins, ends, is_counted)
    is_steady = hours["is_steady"].to_numpy(dtype=bool) & is_counted
    is_read = needed_readings(hours, machine, curves.channels)
    lost_kw = lost_power_kw(scaled, column(hours, "power_w"), is_lost, curves, machine)
    return _Running(
        lane,
        machine,
        curves,
        seen,
        packed,
        begins,
        ends,
        local_hour,
        is_in_span,
        is_lost,
        lost_kw,
        is_steady,
        is_read,
    )


def _run(running: Sequence[_Running]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    if not running:
        return rows
    whole = fleet([run.curves for run in running], [run.machine for run in running])
    parts: dict[tuple[int, ...], Fleet] = {}
    states = CarriedStates({i: run.lane.state for i, run in enumerate(running) if run.lane.state is not None})
    waiting = WaitingRows()
    for _, due in _by_date(running):
        packed = [(i, *_packed(running[i], plan, number, states, i)) for i, plan, number in due]
        for i, row, day in packed:
            if day is None:
                waiting.add(_kept(row, states, i))
        ready = {i: (row, day) for i, row, day in packed if day is not None}
        if not ready:
            continue
        which = tuple(ready)
        if which not in parts:
            parts[which] = whole.some(list(which))
        _judged(parts[which], ready, states, waiting)
        if waiting.are_many:
            rows += waiting.written()
    rows += waiting.written()
    fill_forecasts([run.lane.trend for run in running])
    return rows


def _judged(
    batch: Fleet, ready: Mapping[int, tuple[WaitingRow, FanDay]], states: CarriedStates, waiting: WaitingRows
) -> None:
    """Judge one day of a batch of fans, by the number of their lanes; their rows wait."""
    carried = carried_day(batch, states.of(tuple(ready)), [day for _, day in ready.values()])
    states.keep(carried.state)
    places = waiting.judged(carried.untold)
    for (i, (row, day)), place, compared in zip(ready.items(), places, carried.compared, strict=True):
        lane, date = row.lane, row.plan.date
        lane.normal = states.settle(i, day.normal)
        lane.judged_on, lane.pending, lane.pending_log_ratio = date, [], 0.0
        row.notes += keep_compared(lane.pairs, date, compared)
        row.is_levelled = any(one.is_taught for one in compared)
        row.place = place
        waiting.add(_kept(row, states, i))


def _by_date(running: Sequence[_Running]) -> Iterator[tuple[dt.date, list[tuple[int, DayPlan, int]]]]:
    """Yield each date with the lanes that have it, their plans and the day's number among each lane's."""
    due: dict[dt.date, list[tuple[int, DayPlan, int]]] = {}
    for i, run in enumerate(running):
        for number, plan in enumerate(run.lane.days):
            due.setdefault(plan.date, []).append((i, plan, number))
    yield from sorted(due.items())


def _packed(
    run: _Running, plan: DayPlan, number: int, states: CarriedStates, which: int
) -> tuple[WaitingRow, FanDay | None]:
    lane = run.lane
    first = lane.learned.stretch.first
    row = WaitingRow(lane, plan)
    lane.pending = [*lane.pending, *plan.service]
    lane.pending_log_ratio += plan.log_ratio
    if first is not None and plan.date < first:
        lane.pending, lane.pending_log_ratio = [], 0.0
        lane.pairs.waiting += plan.pairs
        row.reason = "before the healthy period"
        return row, None
    row.is_watched = True
    of_day = run.of_day(number)
    row.lost_hours = int(run.is_lost[of_day].sum())
    row.is_lost_at_end = bool(row.lost_hours) and bool(run.is_in_span[of_day][-1])
    lost_kw = run.lost_kw[of_day]
    if not np.isnan(lost_kw).all():
        row.lost_kw = float(np.nanmean(lost_kw))
    if not states.has(which):
        states.begin(which, first_state(run.curves, run.machine))
        lane.pending = list(plan.service)
    row.notes += hear(lane.pairs, plan.pairs, plan.date, first, is_served=plan.is_belt_served)
    hours = run.hours.some(of_day)
    elapsed = 1.0 if lane.judged_on is None else float((plan.date - lane.judged_on).days)
    operating = run.operating(number)
    packed = FanDay(
        operating,
        day_zeros(hours, run.curves),
        tuple(lane.pending),
        elapsed,
        plan.may_fall,
        known_now(lane.pairs),
        taken(lane.pairs, run.local_hour[of_day]),
        ratio_sd_pct(lane.pairs),
        day_wheel(hours, run.curves, operating),
        begun(lane.normal, lane.pending, lane.pending_log_ratio),
    )
    row.notes += learned_words(packed.normal)
    row.hours_used = used = packed.hours_used
    if used >= LEAST_HOURS_JUDGED and lane.learned.sight.is_judged:
        return row, packed
    if lane.learned.sight.is_judged:
        row.reason = reason_not_judged(used, plan.visit_at, run.unread(number))
    return row, None


def _kept(row: WaitingRow, states: CarriedStates, which: int) -> WaitingRow:
    row.judged_on, row.normal = row.lane.judged_on, row.lane.normal
    if states.has(which) and row.judged_on is not None and row.plan.keeps_state:
        row.state = states.written(which)
    return row
