"""What a week's mail says, as of the week's end: every fact once, before it is written as text or HTML."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from config.folder import SiteFolder
from service.mail.known import Known, known_at
from service.mail.lists import Entry, controls_entries, is_for_controls, round_entries, unseen_entries
from service.mail.rechecks import is_waiting, rechecks
from service.mail.visits import Visit, visit
from service.mail.weeks import Week
from service.mail.writing import one_line
from service.store.fleet import FanStanding, Standing
from service.store.store import Store

_WANTED: Final = (Standing.GO_NOW, Standing.GO_SOON, Standing.PLAN)
# Beyond these a mail grows past what servers take; the facts stay, the drawings stop.
_MOST_PICTURES: Final = 20


@dataclass(frozen=True, slots=True)
class Digest:
    """A week's mail: `visits` worst first, then the lists; `watched` fans in all, `tight` among them.

    `ask` is the address that answers questions.
    """

    site: str
    week: Week
    visits: tuple[Visit, ...]
    put_right: tuple[Entry, ...]
    on_the_round: tuple[Entry, ...]
    controls: tuple[Entry, ...]
    unseen: tuple[Entry, ...]
    watched: int
    tight: int
    ask: str

    @property
    def is_quiet(self) -> bool:
        """Whether there is nothing to do and nothing to tell of a visit."""
        return not (self.visits or self.put_right or self.on_the_round or self.controls)

    @property
    def now(self) -> tuple[Visit, ...]:
        """The visits that cannot wait."""
        return tuple(one for one in self.visits if one.standing is Standing.GO_NOW)


def weekly_digest(site: SiteFolder, store: Store, week: Week) -> Digest:
    """Return what was known when a week ended, in plant time: nothing of a later day is used."""
    known = known_at(site, store, week)
    wanted = [fan for fan in known.fleet if _is_to_be_visited(known, fan)]
    visits = [visit(known, fan, is_drawn=place < _MOST_PICTURES) for place, fan in enumerate(wanted)]
    mail = site.site.mail
    return Digest(
        site=one_line(site.site.name),
        week=week,
        visits=tuple(visits),
        put_right=rechecks(known),
        on_the_round=round_entries(known),
        controls=controls_entries(known),
        unseen=unseen_entries(known),
        watched=len(known.fleet),
        tight=_tight(known, [one.fan for one in visits]),
        ask="the person who runs this program" if mail is None else one_line(mail.sender),
    )


def _is_to_be_visited(known: Known, fan: FanStanding) -> bool:
    if fan.standing not in _WANTED or is_waiting(known, fan):
        return False
    return not all(is_for_controls(alert) for alert in fan.alerts)


def _tight(known: Known, visited: Sequence[str]) -> int:
    return sum(
        fan.standing is Standing.TIGHT and known.is_judged_this_week(fan.fan) and fan.fan not in visited
        for fan in known.fleet
    )
