"""Which alert an episode belongs to: one alert a drift, however new data move its days."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

Row = dict[str, Any]


def matched(found: Sequence[Row], held: Sequence[Mapping[str, Any]]) -> list[int | None]:
    """Return for each episode found the alert among those held that it goes on, None where it is new.

    Of the same kind and topic, opened by the same reading, or else with days in common, the nearest first.

    Parameters: `found`, one fan's episodes as the data now show them; `held`, those it had, with `alert_id`.
    """
    free = {row["alert_id"]: row for row in held}
    chosen: list[int | None] = [None] * len(found)
    for is_same in (_same_reading, _common_days):
        for place, episode in enumerate(found):
            if chosen[place] is not None:
                continue
            fitting = [row for row in free.values() if _alike(episode, row) and is_same(episode, row)]
            if fitting:
                nearest = min(fitting, key=lambda row: (_days_apart(episode, row), row["alert_id"]))
                chosen[place] = nearest["alert_id"]
                del free[nearest["alert_id"]]
    return chosen


def _alike(episode: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    return bool(episode["kind"] == row["kind"] and episode["topic"] == row["topic"])


def _same_reading(episode: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    return bool(episode["opened_at"] == row["opened_at"])


def _common_days(episode: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    last = min(episode["closed_on"] or dt.date.max, row["closed_on"] or dt.date.max)
    return bool(max(episode["opened_on"], row["opened_on"]) <= last)


def _days_apart(episode: Mapping[str, Any], row: Mapping[str, Any]) -> int:
    apart: dt.timedelta = episode["opened_on"] - row["opened_on"]
    return abs(apart.days)
