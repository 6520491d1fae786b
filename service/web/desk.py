"""What every route works with: the site, its store and a clock."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from config.faults import nearest
from config.folder import SiteFolder
from service.store import Store
from service.web.current_site import CurrentSite
from service.web.problem import Problem

_SHOWN: int = 80


@dataclass(frozen=True, slots=True)
class Desk:
    """The site as its files now say, its store, the clock."""

    current: CurrentSite
    store: Store
    clock: Callable[[], dt.datetime]

    @property
    def site(self) -> SiteFolder:
        """The site as its files now say."""
        return self.current.get()

    def known_fan(self, name: str) -> str:
        """Return the name if the site has such a fan, else answer 404 with the nearest one."""
        names = self.site.fan_names
        if name in names:
            return name
        shown = name if len(name) <= _SHOWN else f"{name[:_SHOWN]}..."
        close = nearest(name[:_SHOWN], names)
        remedy = "take the name from the fleet page" if close is None else f"did you mean {close}?"
        raise Problem(404, f"There is no fan {shown!r} in fans.csv.", remedy)
