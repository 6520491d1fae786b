"""Where a reading of an interval counts: before its stamp, where its source says that it ends there.

A microsecond is enough: what ended at midnight, or at the hour, counts in the day and hour that it was read
in, whatever its interval is. That would not be known to a file of one row, and how exports are cut must move
no time.
"""

import numpy as np

from service.instants import BEFORE_US
from service.intake.zones import SECOND_US, Times


def labelled(times_us: Times, label: str) -> Times:
    """Return where readings count by their stamps: just before them where their intervals end there."""
    return times_us - BEFORE_US if label == "end" else times_us


def as_exported(times_us: Times) -> Times:
    """Return the stamps that readings of one fan, in order, have in their exports.

    One that another source of the fan has given too stays where it counts: no two rows have one time.
    """
    stamps = times_us + BEFORE_US
    is_given_too = np.append(times_us[1:] == stamps[:-1], False)[: len(times_us)]
    return np.where((stamps % SECOND_US == 0) & ~is_given_too, stamps, times_us)
