"""Which fans the fleet page shows and in what order, as its address says it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Final, Self
from urllib.parse import urlencode

from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.store.fleet import FanStanding
from service.web.causes import cause_words
from service.web.marks import slug

_LONGEST_SEARCH: Final = 200
WORST: Final = "worst"
# The order of a column: by its greatest first, its name on the page, or as `fleet` has it.
ORDERS: Final = (WORST, "fan", "slip", "loss", "cost", "since")


@dataclass(frozen=True, slots=True)
class Choice:
    """What the address asks for: a building, a kind of drive, a standing, words to find, an order."""

    building: str = ""
    drive: str = ""
    standing: str = ""
    words: str = ""
    order: str = WORST

    @classmethod
    def of(cls, building: str, drive: str, standing: str, words: str, order: str) -> Self:
        """Read an address; an order that there is not is the worst first."""
        known = order.strip() if order.strip() in ORDERS else WORST
        return cls(building.strip(), drive.strip(), standing.strip(), words.strip()[:_LONGEST_SEARCH], known)

    @property
    def is_everything(self) -> bool:
        """Whether nothing is left out."""
        return not (self.building or self.drive or self.standing or self.words)

    def ordered_by(self, order: str) -> str:
        """Return the address of the same fans in another order."""
        return replace(self, order=order).address

    @property
    def address(self) -> str:
        """Return the address of this view."""
        parts = {
            "building": self.building,
            "drive": self.drive,
            "standing": self.standing,
            "q": self.words,
            "sort": "" if self.order == WORST else self.order,
        }
        asked = urlencode({name: text for name, text in parts.items() if text})
        return f"/?{asked}" if asked else "/"

    def of_fleet(self, site: SiteFolder, everyone: Iterable[FanStanding]) -> list[FanStanding]:
        """Return the fans that are wanted, in the order that is wanted."""
        chosen = [fan for fan in everyone if self.takes(fan, site.epochs(fan.fan)[-1])]
        return chosen if self.order == WORST else sorted(chosen, key=_KEYS[self.order])

    def takes(self, fan: FanStanding, epoch: FanEpoch) -> bool:
        """Tell whether a fan is wanted."""
        if self.building and fan.building != self.building:
            return False
        if self.drive and epoch.machine.drive.value != self.drive:
            return False
        if self.standing and slug(fan.standing) != self.standing:
            return False
        if not self.words:
            return True
        told = (fan.fan, fan.building, epoch.location or "", epoch.serves or "", cause_words(fan.judged))
        text = " ".join(told).casefold()
        return all(word in text for word in self.words.casefold().split())


def _greatest(value: float | None) -> tuple[bool, float]:
    return value is None, -(value or 0.0)


def _of_row(name: str) -> Callable[[FanStanding], Any]:
    return lambda fan: _greatest((fan.row or {}).get(name))


_KEYS: Final[dict[str, Callable[[FanStanding], Any]]] = {
    "fan": lambda fan: (fan.building.casefold(), fan.fan.casefold()),
    "slip": _of_row("slip_ref_pct"),
    "loss": _of_row("drag_ref_pct"),
    "cost": lambda fan: _greatest(fan.cost_a_year),
    "since": lambda fan: (fan.since is None, fan.since or 0),
}
