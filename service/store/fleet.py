"""How every fan stands now: its latest row, its open alerts, worst first."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import AlertKind, AlertLevel, Cause, Criticality
from config.folder import SiteFolder
from service.store.costs import FanCost, fan_costs
from service.store.ledger_tables import daily, episodes, fan_days
from service.store.store import Store

HOURS_A_YEAR: Final = 8760.0
_BATCH: Final = 500


class Standing(StrEnum):
    """How soon a fan wants a person, in words of our own, the most urgent first."""

    GO_NOW = "go now"
    GO_SOON = "go soon"
    PLAN = "plan a visit"
    NOTE = "look at data"
    TIGHT = "tight"
    UNSEEN = "not judged"


# The rule by which fans stand below each other, as people are told it.
WORST_FIRST: Final = (
    "by how soon a person is wanted; then life safety and critical fans before the rest; then by the money a "
    "year that today's state costs, what each explanation would cost times how likely it is; then by slip"
)
_ORDER: Final = tuple(Standing)
_WEIGHT: Final = (Criticality.LIFE_SAFETY, Criticality.CRITICAL, Criticality.NORMAL)


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that is open, as `episodes` holds it; `level` as it was on the day asked for.

    `alike`, the causes that it cannot tell apart where its cause is unclear, the likelier first.
    """

    kind: AlertKind
    level: AlertLevel
    topic: str
    opened_on: dt.date
    cause: Cause
    message: str
    alert_id: int
    act_on: dt.date | None
    alike: tuple[Cause, ...] = ()

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes that may be at work: the alert's, or those it cannot tell apart."""
        return self.alike or (self.cause,)


@dataclass(frozen=True, slots=True)
class FanStanding:
    """How one fan stands: the latest judged row and what is open.

    `row` the latest row of the ledger, `judged` the latest judged one, as mappings of the columns of
    `daily`; None where there is none. `cost_a_year` of today's state in the site's currency over the fan's
    usual year: the money of `cost`, and until the fan's usual load is known the latest judged day's excess
    power for the hours it runs. The ledger's numbers are means over all explanations, so that this is what
    each would cost times its probability.
    """

    fan: str
    building: str
    standing: Standing
    row: dict[str, Any] | None
    judged: dict[str, Any] | None
    alerts: tuple[OpenAlert, ...]
    hours_a_day: float
    cost_a_year: float | None
    criticality: Criticality = Criticality.NORMAL
    cost: FanCost | None = None
    can_slip: bool = True

    @property
    def since(self) -> dt.date | None:
        """The day the oldest open alert opened."""
        return min((alert.opened_on for alert in self.alerts), default=None)


def fleet(
    site: SiteFolder, store: Store, fans: Sequence[str] | None = None, as_of: dt.date | None = None
) -> list[FanStanding]:
    """Return every fan, or some, worst first, as they stood at the end of a plant day (default: the latest).

    The rule, in plain units, is WORST_FIRST; fans equal in all of it stand by name.
    """
    chosen = site.fan_names if fans is None else fans
    day = dt.date.max if as_of is None else as_of
    known = _known(site, store, fans, day)
    return sorted((_fan_standing(site, fan, day, known) for fan in chosen), key=_worst_first)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the database holds of fans on a day, by fan: `hours` run a day, the rest as in `FanStanding`."""

    latest: dict[str, dict[str, Any]]
    judged: dict[str, dict[str, Any]]
    alerts: dict[str, list[OpenAlert]]
    hours: dict[str, float | None]
    costs: dict[str, FanCost]


def _known(site: SiteFolder, store: Store, fans: Sequence[str] | None, day: dt.date) -> _Known:
    def one_of(column: sa.ColumnElement[str]) -> sa.ColumnElement[bool]:
        return sa.true() if fans is None else column.in_(fans)

    is_known = one_of(daily.c.fan) & (daily.c.date <= day)
    average = sa.func.avg(fan_days.c.hours_running).label("hours")
    is_run = one_of(fan_days.c.fan) & (fan_days.c.date <= day)
    by_fan = sa.select(fan_days.c.fan, average).where(is_run).group_by(fan_days.c.fan)
    with store.reader() as connection:
        latest = _latest(connection, is_known)
        unjudged = [fan for fan, row in latest.items() if row["slip_pct"] is None]
        judged = {fan: row for fan, row in latest.items() if row["slip_pct"] is not None}
        for start in range(0, len(unjudged), _BATCH):
            some = daily.c.fan.in_(unjudged[start : start + _BATCH])
            judged |= _latest(connection, some & (daily.c.date <= day) & daily.c.slip_pct.is_not(None))
        alerts = _open_alerts(connection, one_of(episodes.c.fan), day)
        hours = {row.fan: row.hours for row in connection.execute(by_fan)}
        chosen = site.fan_names if fans is None else fans
        costs = fan_costs(connection, site, {fan: latest[fan] for fan in chosen if fan in latest})
    return _Known(latest, judged, alerts, hours, costs)


def _fan_standing(site: SiteFolder, fan: str, day: dt.date, known: _Known) -> FanStanding:
    row, judged, cost = known.latest.get(fan), known.judged.get(fan), known.costs.get(fan)
    hours_a_day = float(known.hours.get(fan) or 0.0)
    money = None if cost is None else cost.money.centre
    # Of a lost drive the meter says nothing of what it costs: the air is what is missing.
    is_lost = judged is not None and judged["cause"] == Cause.DRIVE_LOST.value
    if money is None and not is_lost and judged is not None and judged["excess_kw"] is not None:
        hours_a_year = hours_a_day / 24.0 * HOURS_A_YEAR
        money = max(judged["excess_kw"], 0.0) * hours_a_year * site.site.energy_price_per_kwh
    alerts = tuple(known.alerts.get(fan, ()))
    epoch = site.epoch_at(fan, day) or site.epochs(fan)[0]
    return FanStanding(
        fan,
        epoch.building or "",
        _standing(row, alerts),
        row,
        judged,
        alerts,
        hours_a_day,
        money,
        epoch.criticality,
        cost,
        epoch.machine.drive.can_slip,
    )


def _latest(connection: sa.Connection, where: sa.ColumnElement[bool]) -> dict[str, dict[str, Any]]:
    newest = (
        sa.select(daily.c.fan, sa.func.max(daily.c.date).label("date"))
        .where(where)
        .group_by(daily.c.fan)
        .subquery()
    )
    columns = [column for column in daily.c if column.name != "state"]
    query = sa.select(*columns).join(newest, (daily.c.fan == newest.c.fan) & (daily.c.date == newest.c.date))
    return {row.fan: dict(row._mapping) for row in connection.execute(query)}


def _open_alerts(
    connection: sa.Connection, where: sa.ColumnElement[bool], day: dt.date
) -> dict[str, list[OpenAlert]]:
    is_open = (episodes.c.opened_on <= day) & (episodes.c.closed_on.is_(None) | (episodes.c.closed_on > day))
    query = sa.select(episodes).where(where, is_open).order_by(episodes.c.opened_at)
    found: dict[str, list[OpenAlert]] = {}
    for row in connection.execute(query):
        is_act = row.act_on is not None and row.act_on <= day
        alert = OpenAlert(
            AlertKind(row.kind),
            AlertLevel.ACT if is_act else AlertLevel.WATCH,
            row.topic,
            row.opened_on,
            Cause(row.cause),
            row.message,
            row.alert_id,
            row.act_on if is_act else None,
            tuple(Cause(cause) for cause in row.alike),
        )
        found.setdefault(row.fan, []).append(alert)
    return found


def _standing(row: dict[str, Any] | None, alerts: tuple[OpenAlert, ...]) -> Standing:
    is_grave = any(a.kind is AlertKind.NOTICE and a.level is AlertLevel.ACT for a in alerts)
    if is_grave or any(a.kind is AlertKind.DRIVE_LOST for a in alerts):
        return Standing.GO_NOW
    drive = [a for a in alerts if a.kind is not AlertKind.NOTICE]
    if drive:
        return Standing.GO_SOON if any(a.level is AlertLevel.ACT for a in drive) else Standing.PLAN
    if any(a.cause is not Cause.NOT_JUDGED for a in alerts):
        return Standing.NOTE
    if row is None or alerts or row["slip_ref_pct"] is None:
        return Standing.UNSEEN
    return Standing.TIGHT


def _worst_first(fan: FanStanding) -> tuple[int, int, float, float, str]:
    slip = (fan.judged or {}).get("slip_ref_pct") or 0.0
    weight = _WEIGHT.index(fan.criticality)
    return _ORDER.index(fan.standing), weight, -(fan.cost_a_year or 0.0), -slip, fan.fan
