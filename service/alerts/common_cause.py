"""When many fans of one place alert or fall silent on one day, one cause is likelier than many faults."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from config.folder import SiteFolder

_FEWEST: Final = 3


class What(StrEnum):
    """What the fans have in common."""

    ALERTS = "alerts"
    SILENCE = "silence"
    AHEAD = "ahead"
    TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Common:
    """Fans that share a cause: `place` a building, "" for the whole site; `watched` fans there in all."""

    place: str
    what: What
    date: dt.date
    fans: tuple[str, ...]
    watched: int


def common_causes(site: SiteFolder, what: What, seen: Iterable[tuple[str, dt.date]]) -> list[Common]:
    """Return the places of which more than the set share of the fans, and at least three, share a day.

    Where that holds in two buildings or more and in the site as a whole, the place is the site.

    Parameters: `seen`, fans and the plant days on which something happened to them.
    """
    watched = _by_building(site, site.fan_names)
    by_day: defaultdict[dt.date, set[str]] = defaultdict(set)
    for fan, date in seen:
        by_day[date].add(fan)
    found: list[Common] = []
    for date, fans in sorted(by_day.items()):
        here = [
            Common(place, what, date, tuple(sorted(mine)), len(watched[place]))
            for place, mine in sorted(_by_building(site, fans).items())
            if _is_flood(site, len(mine), len(watched[place]))
        ]
        if len(here) > 1 and _is_flood(site, len(fans), len(site.fan_names)):
            here = [Common("", what, date, tuple(sorted(fans)), len(site.fan_names))]
        found += here
    return found


def building_of(site: SiteFolder, fan: str) -> str:
    """Return the building a fan stands in by its latest row of fans.csv."""
    return site.epochs(fan)[-1].building or ""


def _is_flood(site: SiteFolder, count: int, of: int) -> bool:
    return count >= _FEWEST and count > site.site.alerts.flood_share * of


def _by_building(site: SiteFolder, fans: Iterable[str]) -> Mapping[str, list[str]]:
    found: defaultdict[str, list[str]] = defaultdict(list)
    for fan in fans:
        found[building_of(site, fan)].append(fan)
    return found
