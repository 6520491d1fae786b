"""What a week's mail says, as of the week's end: every fact once, before it is written as text or HTML."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from analytics.vocabulary import AlertKind, AlertLevel
from config.folder import SiteFolder
from service.mail.due import due_entries, saved_entries
from service.mail.known import Known, known_at
from service.mail.lists import (
    Entry,
    controls_entries,
    in_hand_entries,
    is_for_controls,
    round_entries,
    taken_back_entries,
    unseen_entries,
)
from service.mail.readers import EVERYTHING, Circle, part_of, reads_of
from service.mail.rechecks import is_waiting, rechecks
from service.mail.visits import Visit, visit
from service.mail.weeks import Week
from service.notices.notice import Trade
from service.notices.rows import asked
from service.store.fleet import FanStanding, Standing
from service.store.store import Store
from service.words import one_line

_WANTED: Final = (Standing.GO_NOW, Standing.GO_SOON, Standing.PLAN)
# Beyond these a mail grows past what servers take; the facts stay, the drawings stop.
_MOST_PICTURES: Final = 20


@dataclass(frozen=True, slots=True)
class Digest:
    """A week's mail: `visits` worst first, then the lists; `watched` fans in all, `tight` among them.

    `part` says whose part of the site it tells of, "" for all of it; `in_hand` what people have taken in hand
    or set aside; `last_read` the last day with any reading of these fans, None where there never was one;
    `ask` is who answers questions; `alerts` the numbers of the alerts it may tell of.
    """

    site: str
    part: str
    week: Week
    visits: tuple[Visit, ...]
    put_right: tuple[Entry, ...]
    due: tuple[Entry, ...]
    on_the_round: tuple[Entry, ...]
    controls: tuple[Entry, ...]
    in_hand: tuple[Entry, ...]
    taken_back: tuple[Entry, ...]
    unseen: tuple[Entry, ...]
    watched: int
    tight: int
    last_read: dt.date | None
    ask: str
    alerts: tuple[int, ...]

    @property
    def is_quiet(self) -> bool:
        """Whether there is nothing to do and nothing to tell of a visit."""
        told = (self.visits, self.put_right, self.due, self.on_the_round, self.controls, self.in_hand)
        return not any((*told, self.taken_back))

    @property
    def has_readings(self) -> bool:
        """Whether there is any reading of the week, of any of the fans there are."""
        return not self.watched or (self.last_read is not None and self.last_read >= self.week.first)

    @property
    def now(self) -> tuple[Visit, ...]:
        """The visits that cannot wait."""
        return tuple(one for one in self.visits if one.standing is Standing.GO_NOW)


def weekly_digest(site: SiteFolder, store: Store, week: Week, circle: Circle = EVERYTHING) -> Digest:
    """Return what was known when a week ended, in plant time: nothing of a later day is used.

    `circle` the crews it is for: their buildings alone, and of these what is their trade's.
    """
    known = known_at(site, store, week)
    known = replace(known, fleet=tuple(fan for fan in known.fleet if reads_of(circle, fan.building)))
    of_mechanics = _of_trade(known, circle, Trade.MECHANICS)
    wanted = [fan for fan in of_mechanics.fleet if _is_to_be_visited(known, fan)]
    visits = [visit(known, fan, is_drawn=place < _MOST_PICTURES) for place, fan in enumerate(wanted)]
    return Digest(
        site=one_line(site.site.name),
        part=one_line(part_of(circle)),
        week=week,
        visits=tuple(visits),
        put_right=(*rechecks(known), *saved_entries(known)),
        due=due_entries(of_mechanics),
        on_the_round=round_entries(of_mechanics),
        controls=controls_entries(_of_trade(known, circle, Trade.CONTROLS)),
        in_hand=in_hand_entries(known),
        taken_back=taken_back_entries(known),
        unseen=unseen_entries(known),
        watched=len(known.fleet),
        tight=_tight(known, [one.fan for one in visits]),
        last_read=known.last_read,
        ask=asked(site),
        alerts=tuple(alert.alert_id for fan in known.fleet for alert in fan.alerts),
    )


def _of_trade(known: Known, circle: Circle, trade: Trade) -> Known:
    return replace(known, fleet=tuple(f for f in known.fleet if reads_of(circle, f.building, trade)))


def _is_to_be_visited(known: Known, fan: FanStanding) -> bool:
    if fan.standing not in _WANTED or is_waiting(known, fan):
        return False
    left = [alert for alert in fan.alerts if known.mark_on(alert) is None]
    is_wanted = any(one.kind is not AlertKind.NOTICE or one.level is AlertLevel.ACT for one in left)
    return is_wanted and not all(is_for_controls(alert) for alert in left)


def _tight(known: Known, visited: Sequence[str]) -> int:
    return sum(
        fan.standing is Standing.TIGHT and known.is_judged_this_week(fan.fan) and fan.fan not in visited
        for fan in known.fleet
    )
