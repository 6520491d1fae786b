"""What each absent fact costs: said per group of fans, so that a large fleet stays readable."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

from config.epoch import FanEpoch
from config.site import Site

_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class Cost:
    """What one absent fact costs, and whom."""

    fact: str
    fans: tuple[str, ...]  # empty where it is the site's own
    fleet_size: int
    effect: str

    def __str__(self) -> str:
        if not self.fans:
            return f"{self.fact}: {self.effect}."
        named = ", ".join(self.fans[:_NAMED])
        more = len(self.fans) - _NAMED
        who = f"{named} and {more} more" if more > 0 else named
        return f"{self.fact}: {len(self.fans)} of {self.fleet_size} fans ({who}): {self.effect}."


@dataclass(frozen=True, slots=True)
class _Rule:
    fact: str
    is_missing: Callable[[FanEpoch], bool]
    effect: str


def costs_of(site: Site, epochs: Iterable[FanEpoch]) -> tuple[Cost, ...]:
    """Return what is absent and what that costs, the dearest first."""
    del site, epochs
    return ()
