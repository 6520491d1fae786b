"""For want of which reading does a day have too few hours to be judged?"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.arrays import Bools
from analytics.day_hours import LEAST_HOURS_JUDGED
from analytics.vocabulary import Role


@dataclass(frozen=True, slots=True)
class Unread:
    """The steady hours of a day, and in how many of them each reading was there that was there in too few."""

    hours_steady: int
    hours_read: Mapping[Role, int]

    @property
    def words(self) -> str:
        """The readings that were not there, in words; blank where that is not why hours did not count."""
        steady = f"{self.hours_steady} steady hours"
        return ", ".join(
            f"{role.value.replace('_', ' ')} read in {hours or 'none'} of {steady}"
            for role, hours in self.hours_read.items()
        )


def unread(is_steady: Bools, is_read: Mapping[Role, Bools], of_day: slice) -> Unread:
    """Return the readings for want of which a day has too few hours; none where that is not the reason.

    Parameters: `is_steady` (hours,) the hours that would count; `is_read` by role where each reading that
    they need is there; `of_day` the day's hours.
    """
    steady = is_steady[of_day]
    count = int(steady.sum())
    complete = steady & np.logical_and.reduce([there[of_day] for there in is_read.values()])
    if count < LEAST_HOURS_JUDGED or int(complete.sum()) >= LEAST_HOURS_JUDGED:
        return Unread(count, {})
    hours = {role: int((steady & there[of_day]).sum()) for role, there in is_read.items()}
    # Each may be there in enough hours and all together still in too few.
    most = max(min(hours.values()), LEAST_HOURS_JUDGED - 1)
    return Unread(count, {role: read for role, read in hours.items() if read <= most})
