"""A site's folder: its three files read together, refused together."""

import datetime as dt
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict

from config.costs import Cost, costs_of
from config.epoch import FanEpoch, PointUnit, build_epoch, speed_unit
from config.fans import FanRow
from config.faults import Fault, FaultySite, faults_of, in_order
from config.fleet_checks import (
    FanReading,
    building_faults,
    point_faults,
    repeated_rows,
    with_shared_points,
)
from config.row_checks import FILE as FANS_FILE
from config.row_checks import row_faults
from config.service_log import COLUMNS as SERVICE_COLUMNS
from config.service_log import FILE as SERVICE_FILE
from config.service_log import REQUIRED as SERVICE_REQUIRED
from config.service_log import ServiceEntry, ServiceReading, ServiceRow, entries_of, entry_faults
from config.sheet import Sheet, read_sheet
from config.site import Site
from config.site_file import read_site
from config.unread import is_read

_FAN_REQUIRED: Final = ("fan", "drive")


class SiteFolder(BaseModel):
    """All that a site declares about itself."""

    model_config = ConfigDict(frozen=True)

    path: Path
    site: Site
    fans: tuple[FanEpoch, ...]
    service: tuple[ServiceEntry, ...]

    @cached_property
    def fan_names(self) -> tuple[str, ...]:
        """The fans, once each, in the order of fans.csv."""
        return tuple(self._by_fan)

    @cached_property
    def _by_fan(self) -> dict[str, tuple[FanEpoch, ...]]:
        return epochs_by_fan(self.fans)

    def epochs(self, fan: str) -> tuple[FanEpoch, ...]:
        """Return a fan's epochs, the earliest first."""
        return self._by_fan.get(fan, ())

    def epoch_at(self, fan: str, date: dt.date) -> FanEpoch | None:
        """Return the epoch that holds on a date, None before a fan's first one."""
        return _epoch_at(self.epochs(fan), date)

    def speed_unit_at(self, fan: str, date: dt.date) -> PointUnit | None:
        """Return the unit of a fan's speeds on a date, None before its first epoch."""
        epoch = self.epoch_at(fan, date)
        return None if epoch is None else epoch.speed_unit

    def of_fans(self, fans: Collection[str]) -> "SiteFolder":
        """Return the site with some of its fans and what was done to them."""
        return SiteFolder(
            path=self.path,
            site=self.site,
            fans=tuple(epoch for fan in fans for epoch in self.epochs(fan)),
            service=tuple(entry for fan in fans for entry in self.entries(fan)),
        )

    def entries(self, fan: str) -> tuple[ServiceEntry, ...]:
        """Return what was done to a fan, in the order of the log."""
        return self._entries_by_fan.get(fan, ())

    @cached_property
    def _entries_by_fan(self) -> dict[str, tuple[ServiceEntry, ...]]:
        gathered: dict[str, list[ServiceEntry]] = {}
        for entry in self.service:
            gathered.setdefault(entry.fan, []).append(entry)
        return {fan: tuple(entries) for fan, entries in gathered.items()}


@dataclass(frozen=True, slots=True)
class SiteReport:
    """What `check` has to say: faults to put right, and what absent facts cost."""

    faults: tuple[Fault, ...]
    costs: tuple[Cost, ...]
    folder: SiteFolder | None


def load_site(folder: Path) -> SiteFolder:
    """Read a site folder; raise FaultySite with every fault of its files."""
    site, faults = read_site(folder)
    # Each file is held against what could be read of the others, so that everything is said in one go.
    sheet, rows, fan_faults = _read_fans(folder, site)
    by_fan = _by_fan(rows)
    # Where no name could be read, which fans there are is not known.
    names = by_fan if sheet is not None and "fan" in sheet.columns else None
    speed_unit_at = partial(_speed_unit_at, by_fan, site)
    log, log_faults = _read_log(folder)
    log_faults = in_order([*log_faults, *entry_faults(log, names, speed_unit_at)])
    faults += fan_faults + log_faults
    if sheet is not None:
        faults += building_faults(rows, site)
    if faults:
        raise FaultySite(faults)
    epochs = [build_epoch(row.table, row.line, row.given, site) for row in rows]
    return SiteFolder(
        path=folder,
        site=site,
        fans=tuple(with_shared_points(epochs)),
        service=tuple(entries_of(log, speed_unit_at)),
    )


def check_site(folder: Path) -> SiteReport:
    """Read a site folder and say everything about it: its faults, else what absent facts cost."""
    try:
        loaded = load_site(folder)
    except FaultySite as faulty:
        return SiteReport(faulty.faults, (), None)
    return SiteReport((), costs_of(loaded.site, loaded.fans), loaded)


def epochs_by_fan(epochs: Iterable[FanEpoch]) -> dict[str, tuple[FanEpoch, ...]]:
    """Return each fan's epochs, the earliest first, fans in file order."""
    gathered: dict[str, list[FanEpoch]] = {}
    for epoch in epochs:
        gathered.setdefault(epoch.fan, []).append(epoch)
    return {
        fan: tuple(sorted(rows, key=lambda epoch: epoch.valid_from or dt.date.min))
        for fan, rows in gathered.items()
    }


def _epoch_at(epochs: tuple[FanEpoch, ...], date: dt.date) -> FanEpoch | None:
    holding = [epoch for epoch in epochs if epoch.valid_from is None or epoch.valid_from <= date]
    return holding[-1] if holding else None


def _read_fans(folder: Path, site: Site) -> tuple[Sheet | None, list[FanReading], list[Fault]]:
    try:
        sheet = read_sheet(folder / FANS_FILE, FanRow.names(), _FAN_REQUIRED)
    except FaultySite as faulty:
        return None, [], list(faulty.faults)
    rows = list(sheet.readings(FanRow))
    faults = list(sheet.faults)
    for row in rows:
        faults += [*faults_of(row.refused, FANS_FILE, row.line, {}), *row_faults(row.table, row.line, site)]
    faults += [*repeated_rows(sheet), *point_faults(rows, site)]
    return sheet, rows, in_order(faults)


def _read_log(folder: Path) -> tuple[list[ServiceReading], list[Fault]]:
    if not (folder / SERVICE_FILE).exists():
        return [], []
    try:
        sheet = read_sheet(folder / SERVICE_FILE, SERVICE_COLUMNS, SERVICE_REQUIRED)
    except FaultySite as faulty:
        return [], list(faulty.faults)
    return list(sheet.readings(ServiceRow)), list(sheet.faults)


def _by_fan(rows: Iterable[FanReading]) -> dict[str, list[FanRow]]:
    gathered: dict[str, list[FanRow]] = {}
    for row in rows:
        if is_read(row.table.fan):
            gathered.setdefault(row.table.fan, []).append(row.table)
    return gathered


def _speed_unit_at(
    by_fan: Mapping[str, list[FanRow]], site: Site, fan: str, date: dt.date
) -> PointUnit | None:
    """Return the unit of a fan's speeds; raise CannotSay where what it rests on could not be read."""
    own = by_fan.get(fan, [])
    holding = [row for row in own if row.valid_from is None or row.valid_from <= date]
    newest = max(holding, key=lambda row: row.valid_from or dt.date.min, default=None)
    return None if newest is None else speed_unit(newest, site)
