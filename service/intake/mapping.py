"""Which fan's reading each point is, from when to when, and in what unit it is written."""

import datetime as dt
import hashlib
import json
from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from analytics.machine import Machine
from analytics.vocabulary import Role
from config.folder import SiteFolder
from config.site import Site, Source
from config.units import (
    BAROMETRIC_UNITS,
    BY_SIZE,
    ROLE_UNITS,
    TEMPERATURE,
    barometric_to_si,
    temperature_to_si,
)
from service.intake.quantities import is_bracketed, says_its_quantity, split_unit
from service.intake.zones import Clock
from service.store.columns import BAROMETRIC_PRESSURE, OUTDOOR_TEMPERATURE, ROLE_COLUMNS, SITE_FAN

READING_VERSION: Final = 5  # raised when the same export and settings would read otherwise than before
ALWAYS_US: Final = (-(1 << 62), 1 << 62)
# The settings of a source that shape how its files read.
_SHAPING: Final = (
    "layout",
    "delimiter",
    "decimal",
    "time_column",
    "time_format",
    "zone",
    "label",
    "encoding",
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Target:
    """One use of a point: a fan's column, the time it holds for and the way into SI."""

    fan: str
    column: str
    start_us: int
    end_us: int
    to_si: Callable[[Floats], Floats]
    is_status: bool = False
    unit: str = ""  # as the site declares it
    units: tuple[str, ...] = ()  # that its quantity may have
    role: Role | None = None
    machine: Machine | None = None  # none of the site's own points


@dataclass(frozen=True, slots=True)
class PointMap:
    """Every use of every point, and a digest of all that shapes it."""

    targets: Mapping[str, tuple[Target, ...]]
    digest: str
    # Mapped names by what is left of them without a unit at their end.
    by_base: Mapping[str, str] = field(default_factory=dict)

    def is_mapped(self, name: str) -> bool:
        """Tell whether a name stands for a point that the site maps."""
        return self.point_named(name) in self.targets

    def point_named(self, name: str) -> str:
        """Return the mapped point that a name stands for, a unit at either's end aside; else the name."""
        if name in self.targets:
            return name
        base, unit = split_unit(name)
        if base not in self.targets:
            return self.by_base.get(base, name)
        # A last word that is no unit of the point's quantity names another point: amps beside speed.
        is_unit = is_bracketed(name) or any(unit in target.units for target in self.targets[base])
        return base if is_unit else name

    def is_status(self, point: str) -> bool:
        """Tell whether the point says on or off in all its uses."""
        return all(target.is_status for target in self.targets[point])


def map_points(site: SiteFolder) -> PointMap:
    """Return the uses of the points that a site declares."""
    clock = Clock(site.site.zone)
    targets: dict[str, list[Target]] = {}
    facts: list[Any] = [READING_VERSION, site.site.timezone]
    for fan in site.fan_names:
        epochs = site.epochs(fan)
        for place, epoch in enumerate(epochs):
            later = [other for other in epochs[place + 1 :] if other.valid_from is not None]
            start_us = _starts_us(clock, epoch.valid_from, ALWAYS_US[0])
            end_us = _starts_us(clock, later[0].valid_from, ALWAYS_US[1]) if later else ALWAYS_US[1]
            for role, point in epoch.points.items():
                unit = epoch.units[role]
                target = Target(
                    fan,
                    ROLE_COLUMNS[role],
                    start_us,
                    end_us,
                    _converter(unit.to_si, role),
                    role is Role.RUN_STATUS,
                    unit.unit,
                    ROLE_UNITS[role],
                    role,
                    epoch.machine,
                )
                targets.setdefault(point, []).append(target)
                facts.append([point, fan, role.value, start_us, end_us, unit.model_dump(mode="json")])
    for point, target, unit_name in _site_targets(site.site):
        targets.setdefault(point, []).append(target)
        facts.append([point, target.column, unit_name])
    digest = hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()
    return PointMap({point: tuple(uses) for point, uses in targets.items()}, digest, _by_base(targets))


def _by_base(names: Collection[str]) -> dict[str, str]:
    bases = {name: split_unit(name)[0] for name in names}
    counts = Counter(bases.values())
    return {
        base: name
        for name, base in bases.items()
        if counts[base] == 1 and (is_bracketed(name) or says_its_quantity(base))
    }


def shaping_settings(source: Source) -> dict[str, Any]:
    """Return the settings of a source that shape how its files read."""
    return {key: getattr(source, key) for key in _SHAPING}


def shaping_digest(source: Source) -> str:
    """Return a digest of the settings of a source that shape how its files read."""
    settings = json.dumps(shaping_settings(source), sort_keys=True)
    return hashlib.sha256(settings.encode()).hexdigest()


def _starts_us(clock: Clock, date: dt.date | None, always: int) -> int:
    return always if date is None else clock.midnight_us(date)


def _converter(to_si: Callable[[Floats], Floats], role: Role) -> Callable[[Floats], Floats]:
    if role is not Role.RUN_STATUS:
        return to_si
    return lambda values: np.where(np.isnan(values), np.nan, (to_si(values) != 0.0).astype(np.float64))


def _site_targets(site: Site) -> list[tuple[str, Target, str]]:
    found: list[tuple[str, Target, str]] = []
    if site.outdoor_temperature_point:
        unit = site.units.of_outdoor_temperature
        to_si = _in_unit(temperature_to_si, unit)
        target = Target(SITE_FAN, OUTDOOR_TEMPERATURE, *ALWAYS_US, to_si, unit=unit, units=tuple(TEMPERATURE))
        found.append((site.outdoor_temperature_point, target, unit))
    if site.barometric_pressure_point:
        unit = site.units.barometric_pressure
        to_si = _in_unit(barometric_to_si, unit)
        told = "" if unit == BY_SIZE else unit
        target = Target(SITE_FAN, BAROMETRIC_PRESSURE, *ALWAYS_US, to_si, unit=told, units=BAROMETRIC_UNITS)
        found.append((site.barometric_pressure_point, target, unit))
    return found


def _in_unit(convert: Callable[[str, Floats], Floats], unit: str) -> Callable[[Floats], Floats]:
    return lambda values: convert(unit, values)
