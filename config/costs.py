"""What each absent fact costs: said once per group of fans, so that a large fleet stays readable."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from analytics.vocabulary import Role
from config.cost_rules import FAN_RULES
from config.epoch import FanEpoch
from config.site import Site

_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class Cost:
    """What one absent fact costs, and whom."""

    fact: str
    effect: str
    fans: tuple[str, ...] = ()  # empty where it is the whole site's
    fleet_size: int = 0
    is_open_task: bool = False  # without it the site cannot be judged at all

    def __str__(self) -> str:
        if not self.fans:
            return f"{self.fact}: {self.effect}."
        who = ", ".join(self.fans[:_NAMED])
        if len(self.fans) == self.fleet_size > 1:
            who = f"all {self.fleet_size} fans"
        elif len(self.fans) > _NAMED:
            who = f"{len(self.fans)} of {self.fleet_size} fans: {who} ..."
        return f"{self.fact} ({who}): {self.effect}."


def costs_of(site: Site, epochs: Iterable[FanEpoch]) -> tuple[Cost, ...]:
    """Return what is absent and what that costs, first the site's, then the fans', the dearest first."""
    newest: dict[str, FanEpoch] = {}
    for epoch in epochs:
        known = newest.get(epoch.fan)
        if known is None or (epoch.valid_from or dt.date.min) > (known.valid_from or dt.date.min):
            newest[epoch.fan] = epoch
    fans = tuple(newest.values())
    return (*_open_tasks(site, fans), *_fan_costs(site, fans), *_site_costs(site, fans), *_shared(fans))


def _open_tasks(site: Site, fans: tuple[FanEpoch, ...]) -> Iterator[Cost]:
    if not fans:
        yield Cost(
            "fans.csv",
            "it has no fan yet; write a row for each: at least fan, drive, motor_hp or motor_kw, and a point",
            is_open_task=True,
        )
    if site.timezone in ("UTC", "Etc/UTC"):
        effect = "it is UTC; right only if the wall clocks in the exports show UTC"
        yield Cost("site.toml, timezone", effect, is_open_task=True)


def _site_costs(site: Site, fans: tuple[FanEpoch, ...]) -> Iterator[Cost]:
    if site.written_altitude_m is None and site.written_altitude_ft is None:
        yield Cost("altitude_m", "sea level is assumed; the air is 1 % thinner for each 85 m above it")
    if not site.barometric_pressure_point and fans:
        yield Cost(
            "barometric_pressure_point",
            "the weather's pressure stays in the error: 0.2 to 0.4 points of slip a day",
        )
    if any(fan.baseline is None for fan in fans):
        yield Cost(
            "[baseline]",
            "the first 30 operating days with 3 steady hours each count as healthy, whatever state the "
            "belts were in; better a period just after service, best with a step test (after tensioning, "
            "five commands from 40 to 100 %, fifteen minutes each)",
        )
    if site.mail is None:
        yield Cost("[mail]", "nobody is written to")


def _fan_costs(site: Site, fans: tuple[FanEpoch, ...]) -> Iterator[Cost]:
    for rule in FAN_RULES:
        lacking = tuple(fan.fan for fan in fans if rule.is_lacking(fan, site))
        if lacking:
            yield Cost(rule.fact, rule.effect, lacking, len(fans))


def _shared(fans: tuple[FanEpoch, ...]) -> Iterator[Cost]:
    for role in (Role.AIRFLOW, Role.PRESSURE):
        users: dict[str, list[str]] = {}
        for fan in fans:
            machine = fan.machine
            if machine.is_airflow_shared if role is Role.AIRFLOW else machine.is_pressure_shared:
                users.setdefault(fan.points[role], []).append(fan.fan)
        for point, names in users.items():
            effect = "one point, theirs in sum or in common, tells less about each of them"
            yield Cost(f"{role}_point {point}", effect, tuple(names), len(fans))
