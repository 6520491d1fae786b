"""The round of a day or a quarter: every fan in the order of going, with all that its sheet says."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import Criticality, Drive
from config.epoch import FanEpoch
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.failure import WorkFailed
from service.notices import Fact, place_facts, tell_first
from service.round.items import Item, items_of, tension_words
from service.round.parts import parts_words
from service.round.quarters import AsOf, Quarter, quarter_of
from service.round.signs import sign_words
from service.store.check_figure import CheckFigure, check_figure
from service.store.cost_words import cost_words
from service.store.due_words import due_words
from service.store.figure_words import figure_words
from service.store.fleet import FanStanding, Standing, fleet
from service.store.ledger_tables import daily
from service.store.remedies import Remedy, remedies_of
from service.store.store import Store
from service.words import one_line

FIRST: Final = "First, worst first"
UNPLACED: Final = "Without a building"
_VISITS: Final = (Standing.GO_NOW, Standing.GO_SOON)
_HISTORY: Final = dt.timedelta(days=120)


@dataclass(frozen=True, slots=True)
class FanSheet:
    """What the sheet of one fan says.

    `signs` what the data say to look for; `due` what the calendar says; `figure` the check figure in words,
    `tight_rpm`, `inferred_rpm` in numbers, None where there is none; `done` what the log has of this quarter.
    """

    fan: str
    building: str
    standing: Standing
    place: tuple[Fact, ...]
    tell_first: str
    is_critical: bool
    signs: tuple[str, ...]
    due: tuple[str, ...]
    cost: str
    figure: str
    tight_rpm: float | None
    inferred_rpm: float | None
    parts: str
    tension: str
    items: tuple[Item, ...]
    remedies: tuple[Remedy, ...]
    is_direct: bool
    can_slip: bool
    done: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Round:
    """The round as it stood at the end of a plant day, in groups in the order of going.

    `left_out` how many fans have no sheet in it because fewer were asked for.
    """

    site: str
    currency: str
    day: dt.date
    quarter: Quarter
    groups: tuple[tuple[str, tuple[FanSheet, ...]], ...]
    left_out: int = 0

    @property
    def sheets(self) -> tuple[FanSheet, ...]:
        """Every sheet in the order of going."""
        return tuple(sheet for _, sheets in self.groups for sheet in sheets)


def plan_round(
    site: SiteFolder,
    store: Store,
    as_of: AsOf = None,
    building: str | None = None,
    most: int | None = None,
) -> Round:
    """Return the round as of a plant day, or of a quarter's last one; None the last day of the ledger.

    Fans that want somebody at once or soon go first, worst first; then building by building in the order of
    `round_order`. What the log has of the quarter is told. With `most`, so many sheets from the beginning.
    """
    last = _last_day(store, as_of.last if isinstance(as_of, Quarter) else as_of)
    told = as_of if isinstance(as_of, Quarter) else quarter_of(last)
    standing = [one for one in fleet(site, store, as_of=last) if building is None or one.building == building]
    ordered = _in_order(site, standing, last)
    taken = [one for _, group in ordered for one in group][:most]
    with store.reader() as connection:
        rows = _rows(connection, [one.fan for one in taken], last)
    sheets = {one.fan: _sheet(site, store, one, rows.get(one.fan, []), last, told) for one in taken}
    groups = ((name, tuple(sheets[one.fan] for one in group if one.fan in sheets)) for name, group in ordered)
    kept = tuple((name, group) for name, group in groups if group)
    return Round(site.site.name, site.site.currency, last, told, kept, len(standing) - len(taken))


def _last_day(store: Store, wanted: dt.date | None) -> dt.date:
    query = sa.select(sa.func.max(daily.c.date))
    with store.reader() as connection:
        if wanted is not None:
            query = query.where(daily.c.date <= wanted)
        last: dt.date | None = connection.execute(query).scalar()
    if last is None and wanted is not None:
        raise WorkFailed(f"the ledger has no day up to {wanted}; name a later one, or pull and assess first")
    if last is None:
        raise WorkFailed("the ledger is empty; pull and assess first")
    return last


def _in_order(
    site: SiteFolder, standing: Sequence[FanStanding], day: dt.date
) -> list[tuple[str, list[FanStanding]]]:
    first = [one for one in standing if one.standing in _VISITS]
    rest = [one for one in standing if one.standing not in _VISITS]

    def place(one: FanStanding) -> tuple[bool, str, float, str]:
        order = _epoch(site, one.fan, day).round_order
        return one.building == "", one.building, float("inf") if order is None else order, one.fan

    by_building: dict[str, list[FanStanding]] = {}
    for one in sorted(rest, key=place):
        by_building.setdefault(one.building or UNPLACED, []).append(one)
    return [*([(FIRST, first)] if first else []), *by_building.items()]


def _sheet(
    site: SiteFolder,
    store: Store,
    one: FanStanding,
    rows: list[dict[str, Any]],
    day: dt.date,
    quarter: Quarter,
) -> FanSheet:
    epoch = _epoch(site, one.fan, day)
    done = sorted(
        (entry for entry in site.entries(one.fan) if entry.date <= day),
        key=lambda entry: (entry.date, entry.time or dt.time()),
    )
    figure = check_figure(site, store, one.fan, day)
    known = figure if isinstance(figure, CheckFigure) else None
    wheel_rpm = None if known is None else known.tight_rpm
    return FanSheet(
        fan=one.fan,
        building=one.building,
        standing=one.standing,
        place=place_facts(epoch),
        tell_first=tell_first(epoch),
        is_critical=epoch.criticality is not Criticality.NORMAL,
        signs=sign_words(one, epoch, rows),
        due=due_words(epoch, done, rows, day, one.hours_a_day, wheel_rpm),
        cost=cost_words(one, site.site.currency),
        figure=figure_words(figure, one),
        tight_rpm=wheel_rpm,
        inferred_rpm=None if known is None else known.inferred_rpm,
        parts=parts_words(epoch),
        tension="" if epoch.machine.drive is Drive.DIRECT else tension_words(epoch),
        items=items_of(epoch, done, day, wheel_rpm),
        remedies=() if one.cost is None else remedies_of(epoch, one.cost, site.site.prices),
        is_direct=epoch.machine.drive is Drive.DIRECT,
        can_slip=epoch.machine.drive.can_slip,
        done=tuple(_done_words(entry) for entry in done if quarter.first <= entry.date <= quarter.last),
    )


def _done_words(entry: ServiceEntry) -> str:
    note = "" if not entry.note else f": {one_line(entry.note)}"
    return f"{entry.date.day} {entry.date:%b} {entry.work.value.replace('_', ' ')}{note}"


def _epoch(site: SiteFolder, fan: str, day: dt.date) -> FanEpoch:
    return site.epoch_at(fan, day) or site.epochs(fan)[0]


def _rows(connection: sa.Connection, fans: Sequence[str], last: dt.date) -> dict[str, list[dict[str, Any]]]:
    columns = [column for column in daily.c if column.name != "state"]
    query = sa.select(*columns).where(daily.c.date.between(last - _HISTORY, last)).order_by(daily.c.date)
    wanted = set(fans)
    found: dict[str, list[dict[str, Any]]] = {}
    for row in connection.execute(query):
        if row.fan in wanted:
            found.setdefault(row.fan, []).append(dict(row._mapping))
    return found
