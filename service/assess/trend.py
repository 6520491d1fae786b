"""When will a fan's drive reach its next limit at the pace of the last weeks?"""

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from analytics.drift import FORECAST_DAYS, Forecast, forecast
from analytics.machine import Limits
from analytics.new_normal import LEARNED_ANEW
from analytics.recovery import RUN_IN_DAYS, measured_by
from analytics.vocabulary import AlertKind, Cause, Role, Work
from service.store.ledger_tables import daily, tachometer_pairs

# What lies further ahead is no plan.
_FURTHEST_DAYS: Final = 180.0
_RUN_IN: Final = dt.timedelta(days=RUN_IN_DAYS)
_WINDOW: Final = dt.timedelta(days=FORECAST_DAYS)
_MAY_BE_SLIP: Final = frozenset({Cause.NONE, Cause.BELT_SLIP})
_MAY_BE_DRAG: Final = frozenset({Cause.NONE, Cause.DRAG})
COLUMNS: Final = (
    "forecast_of",
    "forecast_limit_pct",
    "forecast_on",
    "forecast_earliest",
    "forecast_latest",
)


@dataclass(slots=True)
class Trend:
    """The judged days of the last weeks: date, slip and drag at the reference torque if alone at work [%].

    `since` the day from which each measure runs on undisturbed by work or a new level.
    """

    days: list[tuple[dt.date, float, float]] = field(default_factory=list)
    since: dict[AlertKind, dt.date] = field(default_factory=dict)

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
        """Add a judged day and forget those too old to matter."""
        self.days = [day for day in self.days if date - day[0] <= _WINDOW]
        self.days.append((date, slip_pct, drag_pct))


def forecast_columns(
    trend: Trend, limits: Limits, causes: Collection[Cause], *, can_slip: bool
) -> dict[str, Any]:
    """Return the ledger's columns of the forecast after the trend's last day: of what comes first.

    `causes` that may explain the day: each measure is drawn on as if alone at work, so what the day gives
    to another cause is not forecast as this one's growth.
    """
    told = dict.fromkeys(COLUMNS)
    if not trend.days:
        return told
    date = trend.days[-1][0]
    slip = limits.slip_watch_pct, limits.slip_act_pct
    drag = limits.drive_loss_rise_watch_pct, limits.drive_loss_rise_act_pct
    found = [
        (_forecast(trend, AlertKind.BELT_SLIP, 1, slip), "slip", can_slip and _MAY_BE_SLIP & {*causes}),
        (_forecast(trend, AlertKind.DRIVE_LOSS, 2, drag), "drag", _MAY_BE_DRAG & {*causes}),
    ]
    certain = [(*one, name) for one, name, may_be in found if one is not None and may_be]
    if not certain:
        return told
    ahead, limit, name = min(certain, key=lambda one: one[0].days)
    return {
        "forecast_of": name,
        "forecast_limit_pct": limit,
        "forecast_on": _date(date, ahead.days),
        "forecast_earliest": _date(date, ahead.earliest_days),
        "forecast_latest": _date(date, ahead.latest_days),
    }


def _forecast(
    trend: Trend, kind: AlertKind, place: int, limits: tuple[float, float]
) -> tuple[Forecast, float] | None:
    since = trend.since.get(kind, dt.date.min)
    days = [day for day in trend.days if day[0] > since]
    if not days:
        return None
    limit = next((limit for limit in limits if float(days[-1][place]) < limit), None)  # type: ignore[arg-type]
    if limit is None:
        return None
    numbers = np.array([float(day[0].toordinal()) for day in days])
    ahead = forecast(numbers, np.array([float(day[place]) for day in days]), limit)  # type: ignore[arg-type]
    return None if ahead is None or ahead.days > _FURTHEST_DAYS else (ahead, limit)


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
    trend = Trend([(row.date, row.slip_alone_pct, row.drag_alone_pct) for row in connection.execute(query)])
    compared = tachometer_pairs.c.compared_on
    last = sa.select(sa.func.max(compared)).where(
        tachometer_pairs.c.fan == fan, tachometer_pairs.c.is_taught, compared <= until
    )
    levelled = connection.execute(last).scalar()
    if levelled is not None:
        trend.levelled(levelled)
    return trend
