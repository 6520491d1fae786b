"""From which day must each fan's ledger be written again, and with which state does it go on?"""

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import sqlalchemy as sa

from analytics.curves import HealthyCurves
from analytics.machine import Limits, Machine
from analytics.model import Parameter
from analytics.new_normal import Normal, normal_from_json
from analytics.results_version import RESULTS_VERSION
from analytics.service_effects import ended_by
from analytics.tachometer import nominal_ratio
from analytics.vocabulary import AlertKind, Role, Work
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.assess.pairs import PairDue, Pairs, hear, known_pairs, pairs_due
from service.assess.periods import IndexedDay, Stretch
from service.assess.redeclared import Redeclared, redeclared, unused_words
from service.assess.references import (
    NO_REFERENCES,
    References,
    held_since,
    keeps_drive,
    references_after,
    references_before,
)
from service.assess.states import state_from_bytes
from service.assess.trend import Trend, known_trend
from service.store.ledger_tables import daily
from service.store.sight import NO_SIGHT, FanSight

CHECKPOINT_DAYS: Final = 14
LEAST_HOURS_RUNNING: Final = 1.0


@dataclass(frozen=True, slots=True)
class Learned:
    """A stretch with its healthy curves, or the reason why there are none.

    `machine` is the epoch's, its rated current filled in from the healthy period where none is given;
    `is_command_left_on` whether the speed point keeps its value while the fan is off; `sight` what its points
    let be seen.
    """

    stretch: Stretch
    machine: Machine
    curves: HealthyCurves | None
    digest: str
    reason: str
    is_command_left_on: bool = False
    sight: FanSight = NO_SIGHT


@dataclass(frozen=True, slots=True)
class DayPlan:
    """One day to write: its date, digest, hours and last reading.

    `service` done since the operating day before; `visit_at` the times of the visits of the day itself;
    `may_fall` once a belt was serviced, slip may lie below the healthy period's; `keeps_state` whether the
    state after it is written down; `pairs` of a tachometer read since the operating day before;
    `limits` of that day; `is_retrofitted` where a retrofit awaits a healthy period of its own;
    `log_ratio` by which fans.csv says from that day on that the sheaves' ratio changed; `unused` the words on
    facts of fans.csv that the day is not judged by.
    """

    date: dt.date
    digest: str
    hours_running: float
    hours_steady: int
    last_reading: dt.datetime
    service: tuple[tuple[Work, Role | None], ...]
    visit_at: tuple[dt.time | None, ...]
    may_fall: bool = False
    keeps_state: bool = True
    pairs: tuple[PairDue, ...] = ()
    limits: Limits = field(default_factory=Limits)
    is_retrofitted: bool = False
    log_ratio: float = 0.0
    unused: str = ""

    @property
    def is_belt_served(self) -> bool:
        """Whether the belt was worked on since the operating day before."""
        return any(Parameter.SLIP in ended_by(work, role) for work, role in self.service)


@dataclass(slots=True)
class Lane:
    """A fan's days to write under one set of healthy curves, and where its state stands.

    `state` after `judged_on` to go on from, None before the first judged day; `carried` the reference values
    of the rows so far, None where the lane has none of its own; `follows` the lane whose values hold until
    then; `is_other_drive` than that of the stretch before; `pending` service done since the last judged day;
    `pairs` of a tachometer so far; `trend` of the last weeks; `normal` what work has changed for good,
    `pending_log_ratio` what fans.csv said of the sheaves since the last judged day.
    """

    fan: str
    learned: Learned
    days: list[DayPlan]
    state: Any
    judged_on: dt.date | None
    carried: References | None = None
    follows: "Lane | None" = None
    is_other_drive: bool = False
    pending: list[tuple[Work, Role | None]] = field(default_factory=list)
    pairs: Pairs = field(default_factory=Pairs)
    trend: Trend = field(default_factory=Trend)
    normal: Normal = field(default_factory=dict)
    pending_log_ratio: float = 0.0

    @property
    def references(self) -> References:
        """The values that a day that is not judged carries."""
        if self.carried is not None:
            return self.carried
        return NO_REFERENCES if self.follows is None else self.follows.references

    @property
    def can_slip(self) -> bool:
        """Whether the drive carries its torque by friction."""
        return self.learned.machine.drive.can_slip


# Who looks or turns a set point leaves the drive as it was.
_TOUCHES_NOTHING: Final = (Work.INSPECTED, Work.SETPOINT_CHANGED)


@dataclass(frozen=True, slots=True)
class Planned:
    """What of a fan's ledger is to be written.

    `lanes` and the first date to write again, None where nothing changed; `last` day of the ledger then;
    `served` from when each measure of the trend runs on undisturbed by work, after that day.
    """

    lanes: list[Lane]
    restart: dt.date | None
    last: dt.date | None
    served: Mapping[AlertKind, dt.date]


def lanes(
    connection: sa.Connection,
    site: SiteFolder,
    fan: str,
    learned: Sequence[Learned],
    days: Sequence[IndexedDay],
) -> Planned:
    """Return a fan's lanes, found by holding every day of its ledger against what it would be made of now.

    Parameters: `days`, the fan's complete operating days, in order of date.
    """
    stored = connection.execute(
        sa.select(daily.c.date, daily.c.digest).where(daily.c.fan == fan).order_by(daily.c.date)
    ).all()
    plans = list(_plans(site, fan, learned, days))
    last = plans[-1][0].date if plans else None
    served = _served(learned, plans, Trend())
    restart = _first_difference([(date, digest) for date, digest in stored], plans)
    if restart is None:
        return Planned([], None, last, served)
    plans = _sparing(plans)
    checkpoint = _checkpoint(connection, fan, restart, _begins(learned, restart))
    begin = restart if checkpoint is None else checkpoint["date"] + dt.timedelta(days=1)
    if checkpoint is None:
        begin = _begins(learned, restart) or dt.date.min
    found: list[Lane] = []
    parts = [part.stretch for part in learned]
    for index, part in enumerate(learned):
        mine = [plan for plan, which in plans if which == index and plan.date >= begin]
        if not mine:
            continue
        lane = Lane(fan, part, mine, None, None, is_other_drive=not keeps_drive(site, parts, index))
        since = held_since(site, parts, index)
        if checkpoint is not None and index == _which(learned, checkpoint["date"]):
            _resume(connection, lane, checkpoint, [plan for plan, which in plans if which == index], {})
            lane.carried = references_after(connection, fan, checkpoint, since)
        elif not found:
            lane.carried = references_before(connection, fan, mine[0].date, since)
        elif since is None or found[-1].days[-1].date >= since:
            lane.follows = found[-1]
        found.append(lane)
    return Planned(found, min([restart, *(lane.days[0].date for lane in found)]), last, served)


def later_lanes(
    connection: sa.Connection,
    site: SiteFolder,
    fan: str,
    learned: Sequence[Learned],
    days: Sequence[IndexedDay],
    row: Mapping[str, Any],
    served: Mapping[AlertKind, dt.date],
) -> Planned:
    """Return a fan's lanes where its ledger up to a day needs no second look.

    Parameters: `days`, the fan's complete operating days from the last judged one up to that day on; `row`
    of that day; `served` after it.
    """
    first = row["judged_on"] or row["date"]
    plans = list(_plans(site, fan, learned, [day for day in days if day.date > first], after=first))
    trend = Trend(since=dict(served))
    later = [(plan, which) for plan, which in plans if plan.date > row["date"]]
    if not later:
        return Planned([], None, row["date"], served)
    served = _served(learned, later, trend)
    known = [plan for plan, _ in plans if plan.date <= row["date"]]
    mine = [plan for plan, _ in _sparing(later)]
    parts = [part.stretch for part in learned]
    lane = Lane(
        fan, learned[-1], mine, None, None, is_other_drive=not keeps_drive(site, parts, len(parts) - 1)
    )
    lane.carried = references_after(connection, fan, row, held_since(site, parts, len(parts) - 1))
    if row["state"] is not None:
        _resume(connection, lane, row, known, trend.since)
    return Planned([lane], mine[0].date, mine[-1].date, served)


def _served(
    learned: Sequence[Learned], plans: Sequence[tuple[DayPlan, int]], trend: Trend
) -> Mapping[AlertKind, dt.date]:
    """Return from when each measure runs on undisturbed by the work of the last stretch's days."""
    after = Trend(since=dict(trend.since))
    for plan, which in plans:
        if which == len(learned) - 1:
            after.served(plan.date, plan.service, can_slip=learned[which].machine.drive.can_slip)
    return after.since


def _plans(
    site: SiteFolder,
    fan: str,
    learned: Sequence[Learned],
    days: Sequence[IndexedDay],
    after: dt.date | None = None,
) -> Iterator[tuple[DayPlan, int]]:
    """Yield the plans of days and which stretch holds each; `after` the day of the ledger before them."""
    bases = [base(part) for part in learned]
    ratios = [nominal_ratio(part.machine) for part in learned]
    declared = {epoch.row: f"{epoch.machine!r}|{epoch.limits!r}" for epoch in site.epochs(fan)}
    ordered = sorted(site.entries(fan), key=lambda entry: (entry.date, entry.time or dt.time(), entry.row))
    told = hashlib.sha256()
    position = 0 if after is None else sum(entry.date <= after for entry in ordered)
    for entry in ordered[:position]:
        told.update(_words_of(entry))
    before = None if after is None else site.epoch_at(fan, after)
    for day in days:
        since = position
        while position < len(ordered) and ordered[position].date <= day.date:
            told.update(_words_of(ordered[position]))
            position += 1
        which = _which(learned, day.date)
        epoch = site.epoch_at(fan, day.date)
        if epoch is None:
            continue
        digest = hashlib.sha256(bases[which])
        digest.update(f"{declared[epoch.row]}|{day.digest}|{told.hexdigest()}".encode())
        stretch = learned[which].stretch
        # Before the healthy period's end, and where a row has one of its own, nothing is left to scale.
        is_scaled = stretch.last is not None and day.date > stretch.last
        shown = redeclared(before, epoch, day.date, ordered[:position], since) if is_scaled else Redeclared()
        before = epoch
        plan = _plan(day, digest.hexdigest(), ordered[since:position], stretch)
        plan = replace(
            plan,
            service=(*plan.service, *((work, None) for work in shown.works)),
            may_fall=_is_belt_serviced(ordered[:position], stretch),
            pairs=pairs_due(site, fan, ratios[which], ordered[:position], since),
            limits=epoch.limits,
            is_retrofitted=_is_retrofitted(ordered[:position], stretch),
            log_ratio=shown.log_ratio,
            unused=unused_words(stretch.epoch, epoch),
        )
        yield plan, which


def _words_of(entry: ServiceEntry) -> bytes:
    words = f"{entry.date}|{entry.time}|{entry.work}|{entry.role}|{entry.motor_rpm}|"
    return f"{words}{entry.fan_rpm}|{entry.speed_fraction}|{entry.no_load_a}".encode()


def _sparing(plans: Sequence[tuple[DayPlan, int]]) -> list[tuple[DayPlan, int]]:
    later = [*(plan.date for plan, _ in plans[1:]), None][: len(plans)]
    return [
        (replace(plan, keeps_state=date is None or not are_in_one_block(plan.date, date)), which)
        for (plan, which), date in zip(plans, later, strict=True)
    ]


def are_in_one_block(date: dt.date, later: dt.date) -> bool:
    """Tell whether a row's state is spared once a later row follows: of a block the last row keeps it.

    The last and not a fixed day: a fan that rests on Sundays has no row on any fourteenth Sunday.
    """
    return date.toordinal() // CHECKPOINT_DAYS == later.toordinal() // CHECKPOINT_DAYS


def _plan(day: IndexedDay, digest: str, done: Sequence[ServiceEntry], stretch: Stretch) -> DayPlan:
    # Much work is done while the fan stands for days: the next day it runs is told of all of it.
    first = stretch.first or stretch.begins or dt.date.min
    service = tuple((entry.work, entry.role) for entry in done if entry.date >= first)
    visits = [entry for entry in done if entry.date == day.date and entry.work not in _TOUCHES_NOTHING]
    return DayPlan(
        day.date,
        digest,
        day.hours_running,
        day.hours_steady,
        day.last_reading,
        service,
        tuple(entry.time for entry in visits),
    )


def _is_belt_serviced(done: Sequence[ServiceEntry], stretch: Stretch) -> bool:
    first = stretch.first or stretch.begins or dt.date.min
    works = (ended_by(entry.work, entry.role) for entry in done if entry.date >= first)
    return any(Parameter.SLIP in ended for ended in works)


def _is_retrofitted(done: Sequence[ServiceEntry], stretch: Stretch) -> bool:
    first = stretch.first or stretch.begins or dt.date.min
    return any(entry.work is Work.RETROFIT and entry.date >= first for entry in done)


def base(part: Learned) -> bytes:
    """Return what of a stretch bears on each of its days."""
    return f"{RESULTS_VERSION}|{part.digest}|{part.reason}".encode()


def _which(learned: Sequence[Learned], date: dt.date) -> int:
    holding = [
        i for i, part in enumerate(learned) if part.stretch.begins is None or part.stretch.begins <= date
    ]
    return holding[-1] if holding else 0


def _begins(learned: Sequence[Learned], date: dt.date) -> dt.date | None:
    return learned[_which(learned, date)].stretch.begins


def _first_difference(
    stored: Sequence[tuple[dt.date, str]], plans: Sequence[tuple[DayPlan, int]]
) -> dt.date | None:
    wanted = {plan.date: plan.digest for plan, _ in plans}
    held = dict(stored)
    changed = [date for date in wanted.keys() | held.keys() if wanted.get(date) != held.get(date)]
    return min(changed) if changed else None


def _checkpoint(
    connection: sa.Connection, fan: str, before: dt.date, not_before: dt.date | None
) -> Mapping[str, Any] | None:
    query = (
        sa.select(daily)
        .where(daily.c.fan == fan, daily.c.date < before, daily.c.state.is_not(None))
        .order_by(daily.c.date.desc())
        .limit(1)
    )
    if not_before is not None:
        query = query.where(daily.c.date >= not_before)
    found = connection.execute(query).one_or_none()
    return None if found is None else dict(found._mapping)


def _resume(
    connection: sa.Connection,
    lane: Lane,
    values: Mapping[str, Any],
    plans: Sequence[DayPlan],
    served: Mapping[AlertKind, dt.date],
) -> None:
    """Let a lane go on after a row; `plans` of its stretch, of which `served` already knows the earliest."""
    begins = lane.learned.stretch.begins
    lane.pairs = known_pairs(connection, lane.fan, begins, values["date"])
    lane.trend = known_trend(connection, lane.fan, begins, values["date"])
    lane.state = state_from_bytes(values["state"])
    lane.judged_on = values["judged_on"]
    lane.normal = normal_from_json(values["new_normal"])
    # What was done since the last judged day has not been told to the state yet.
    first = lane.learned.stretch.first
    levelled = dict(lane.trend.since)
    lane.trend.since |= served
    for plan in plans:
        if plan.date <= values["date"]:
            lane.trend.served(plan.date, plan.service, can_slip=lane.can_slip)
        if values["judged_on"] < plan.date <= values["date"]:
            lane.pending += plan.service
            lane.pending_log_ratio += plan.log_ratio
            hear(lane.pairs, plan.pairs, plan.date, first, is_served=plan.is_belt_served)
    lane.pairs.rows.clear()
    for kind, date in levelled.items():
        lane.trend.since[kind] = max(date, lane.trend.since.get(kind, date))
