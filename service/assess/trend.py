"""When will a fan's drive reach its next limit at the pace of the last weeks?"""

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from analytics.arrays import Floats
from analytics.drift import FORECAST_DAYS, Forecast, crossing, lines, rising
from analytics.machine import Limits
from analytics.new_normal import LEARNED_ANEW
from analytics.recovery import RUN_IN_DAYS, measured_by
from analytics.vocabulary import AlertKind, Cause, Role, Work
from service.store.ledger_tables import daily, tachometer_pairs

# What lies further ahead is no plan.
_FURTHEST_DAYS: Final = 180.0
_RUN_IN: Final = dt.timedelta(days=RUN_IN_DAYS)
_WINDOW: Final = dt.timedelta(days=FORECAST_DAYS)
_ROWS_AT_ONCE: Final = 4096
COLUMNS: Final = (
    "forecast_of",
    "forecast_limit_pct",
    "forecast_on",
    "forecast_earliest",
    "forecast_latest",
)


@dataclass(frozen=True, slots=True)
class _Measure:
    """One of the two measures forecast: its place among a trend's numbers, and what may explain it."""

    kind: AlertKind
    name: str
    place: int
    may_be: frozenset[Cause]

    def limits(self, limits: Limits) -> tuple[float, float]:
        """Return its limits, the lower first."""
        if self.kind is AlertKind.BELT_SLIP:
            return limits.slip_watch_pct, limits.slip_act_pct
        return limits.drive_loss_rise_watch_pct, limits.drive_loss_rise_act_pct


_MEASURES: Final = (
    _Measure(AlertKind.BELT_SLIP, "slip", 1, frozenset({Cause.NONE, Cause.BELT_SLIP})),
    _Measure(AlertKind.DRIVE_LOSS, "drag", 2, frozenset({Cause.NONE, Cause.DRAG})),
)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A row whose forecast is due: from when each measure runs, None where it cannot be the cause.

    `end` how many days of the trend it knows.
    """

    row: dict[str, Any]
    end: int
    since: tuple[dt.date | None, ...]
    limits: Limits


@dataclass(slots=True)
class Trend:
    """The judged days: ordinal of the date, slip and drag at the reference torque if alone at work [%].

    `since` the day from which each measure runs on undisturbed by work or a new level; `asked`, the rows
    whose forecast is due.
    """

    days: list[tuple[float, float, float]] = field(default_factory=list)
    since: dict[AlertKind, dt.date] = field(default_factory=dict)
    asked: list[_Asked] = field(default_factory=list)

    def served(self, date: dt.date, service: Iterable[tuple[Work, Role | None]], *, can_slip: bool) -> None:
        """Begin again with the measures that a day's work should have moved."""
        for work, role in service:
            kind = measured_by(work, role, can_slip=can_slip)
            # What is learned anew may take a share of either measure with it.
            moved = tuple(AlertKind) if work in LEARNED_ANEW else () if kind is None else (kind,)
            self.since |= dict.fromkeys(moved, date + _RUN_IN)

    def levelled(self, date: dt.date) -> None:
        """Begin again with slip: a tachometer pair moved its level."""
        self.since[AlertKind.BELT_SLIP] = date - dt.timedelta(days=1)

    def add(self, date: dt.date, slip_pct: float, drag_pct: float) -> None:
        """Add a judged day."""
        self.days.append((float(date.toordinal()), slip_pct, drag_pct))

    def ask(self, row: dict[str, Any], limits: Limits, causes: Collection[Cause], *, can_slip: bool) -> None:
        """Let a row of the last day added tell the forecast, once `fill_forecasts` has found it.

        `causes` that may explain the day: each measure is drawn on as if alone at work, so what the day
        gives to another cause is not forecast as this one's growth.
        """
        since = tuple(
            None
            if measure.may_be.isdisjoint(causes) or (measure.kind is AlertKind.BELT_SLIP and not can_slip)
            else self.since.get(measure.kind, dt.date.min)
            for measure in _MEASURES
        )
        if any(date is not None for date in since):
            self.asked.append(_Asked(row, len(self.days), since, limits))


def fill_forecasts(trends: Sequence[Trend]) -> None:
    """Write into the rows that ask for it what comes first, of many fans and days at once."""
    asked: list[_Asked] = []
    starts: list[int] = []
    days: list[tuple[float, float, float]] = []
    for trend in trends:
        asked += trend.asked
        starts += [len(days)] * len(trend.asked)
        days += trend.days
        trend.asked = []
    told = np.array(days).reshape(-1, 3)
    for first in range(0, len(asked), _ROWS_AT_ONCE):
        some = slice(first, first + _ROWS_AT_ONCE)
        _fill(told, asked[some], starts[some])


def _fill(told: Floats, asked: Sequence[_Asked], starts: Sequence[int]) -> None:
    date = np.ascontiguousarray(told[:, 0])
    certain: dict[int, list[tuple[Forecast, float, str]]] = {}
    for number, measure in enumerate(_MEASURES):
        due = [place for place, one in enumerate(asked) if one.since[number] is not None]
        value = np.ascontiguousarray(told[:, measure.place])
        ends = np.array([starts[place] + asked[place].end for place in due], dtype=np.int64)
        begins = np.array(
            [_begin(date, starts[place], asked[place], number) for place in due], dtype=np.int64
        )
        limits = np.array(
            [
                _next_limit(measure.limits(asked[p].limits), value[e - 1])
                for p, e in zip(due, ends, strict=True)
            ]
        )
        is_known = (begins < ends) & np.isfinite(limits)
        found = lines(date, value, begins[is_known], ends[is_known])
        rows, limits = np.flatnonzero(is_known), limits[is_known]
        for line in np.flatnonzero(rising(found, limits)):
            ahead = crossing(found, int(line), float(limits[line]))
            if ahead.days <= _FURTHEST_DAYS:
                certain.setdefault(due[rows[line]], []).append((ahead, float(limits[line]), measure.name))
    for place, found_of in certain.items():
        ahead, limit, name = min(found_of, key=lambda one: one[0].days)
        one = asked[place]
        today = dt.date.fromordinal(int(date[starts[place] + one.end - 1]))
        one.row.update(
            forecast_of=name,
            forecast_limit_pct=limit,
            forecast_on=_date(today, ahead.days),
            forecast_earliest=_date(today, ahead.earliest_days),
            forecast_latest=_date(today, ahead.latest_days),
        )


def _begin(date: Floats, start: int, one: _Asked, number: int) -> int:
    since = one.since[number] or dt.date.min
    end = start + one.end
    # Most trends run on undisturbed for longer than a forecast looks back.
    if since.toordinal() < date[end - 1] - FORECAST_DAYS:
        return start
    return start + int(np.searchsorted(date[start:end], since.toordinal(), side="right"))


def _next_limit(limits: tuple[float, float], value: float) -> float:
    return next((limit for limit in limits if value < limit), np.inf)


def _date(date: dt.date, days: float) -> dt.date | None:
    return date + dt.timedelta(days=round(days)) if days <= 20.0 * _FURTHEST_DAYS else None


def known_trend(connection: sa.Connection, fan: str, begins: dt.date | None, until: dt.date) -> Trend:
    """Return a fan's trend at the end of a day, as its rows tell it."""
    first = max(until - _WINDOW, begins or dt.date.min)
    query = (
        sa.select(daily.c.date, daily.c.slip_alone_pct, daily.c.drag_alone_pct)
        .where(daily.c.fan == fan, daily.c.date.between(first, until))
        .where(daily.c.cause.not_in([Cause.NOT_JUDGED.value, Cause.DRIVE_LOST.value]))
        .where(daily.c.is_healthy_period.is_(False))
        .order_by(daily.c.date)
    )
    trend = Trend(
        [
            (float(row.date.toordinal()), row.slip_alone_pct, row.drag_alone_pct)
            for row in connection.execute(query)
        ]
    )
    compared = tachometer_pairs.c.compared_on
    last = sa.select(sa.func.max(compared)).where(
        tachometer_pairs.c.fan == fan, tachometer_pairs.c.is_taught, compared <= until
    )
    levelled = connection.execute(last).scalar()
    if levelled is not None:
        trend.levelled(levelled)
    return trend
