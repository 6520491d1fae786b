"""What was done to a fan, whether the days after it agree that it worked, and what its tachometer said."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.vocabulary import Work
from config.epoch import FanEpoch
from config.service_log import ServiceEntry
from service.store.service_verdict import service_verdict


@dataclass(frozen=True, slots=True)
class ServiceDone:
    """A service entry with its verdict and what that rests on, in words; blank where nothing shows it.

    `pair` what its tachometer pair came to, blank without one.
    """

    entry: ServiceEntry
    verdict: str
    words: str
    pair: str

    @property
    def work(self) -> str:
        """What was done, in words."""
        return words_of(self.entry.work)


def words_of(work: Work) -> str:
    """Return a kind of work as words."""
    return work.value.replace("_", " ")


def services_done(
    entries: Sequence[ServiceEntry],
    epoch: FanEpoch,
    rows: Sequence[Mapping[str, Any]],
    alerts: Sequence[Mapping[str, Any]] | None = None,
    pairs: Sequence[Mapping[str, Any]] = (),
) -> tuple[ServiceDone, ...]:
    """Judge a fan's visits by its ledger, the latest first.

    Parameters: `rows` of the ledger in order; `alerts`, its episodes, None where they
    were not read: work on sensors and air paths then has no verdict; `pairs` of its tachometer.
    """
    day = rows[-1]["date"] if rows else dt.date.min
    pair_words = {(row["date"], row["motor_rpm"], row["wheel_rpm"]): row["words"] for row in pairs}
    done = []
    for entry in sorted(entries, key=lambda one: one.date, reverse=True):
        found = service_verdict(entry, epoch, rows, alerts, day, entries) if rows else None
        told = ("", "") if found is None else (found.words, found.rests_on)
        pair = pair_words.get((entry.date, entry.motor_rpm, entry.fan_rpm), "")
        done.append(ServiceDone(entry, *told, pair))
    return tuple(done)
