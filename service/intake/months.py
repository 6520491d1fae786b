"""The UTC months that times fall into: the pieces in which a pass holds readings in memory."""

import numpy as np

from service.intake.zones import Times


def month_number(time_us: int) -> int:
    """Return the UTC month of a time [us since 1970] as the count of months since January 1970."""
    return int(np.datetime64(time_us, "us").astype("datetime64[M]").astype(np.int64))


def by_month(times_us: Times) -> list[tuple[int, slice]]:
    """Return the months that some times fall into, each with the places of its times.

    Parameters: `times_us` [us since 1970] in order. Returns: months in order, none without a time.
    """
    if not times_us.size:
        return []
    first, last = month_number(int(times_us[0])), month_number(int(times_us[-1]))
    begins = np.arange(first + 1, last + 1).astype("datetime64[M]").astype("datetime64[us]").astype(np.int64)
    edges = np.concatenate([[0], np.searchsorted(times_us, begins), [len(times_us)]])
    filled = np.flatnonzero(edges[1:] > edges[:-1]).tolist()
    return [(first + place, slice(int(edges[place]), int(edges[place + 1]))) for place in filled]


def month_span(month: int) -> tuple[int, int]:
    """Return the first microsecond of a month, by its number, and that of the next one [us since 1970]."""
    begins = np.array([month, month + 1]).astype("datetime64[M]").astype("datetime64[us]").astype(np.int64)
    return int(begins[0]), int(begins[1])
