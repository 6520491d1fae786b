"""A site's folder: its three files read together, refused together."""

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict, ValidationError

from config.costs import Cost, costs_of
from config.epoch import FanEpoch, build_epoch
from config.fans import FanRow
from config.faults import Fault, FaultySite, faults_of, in_order
from config.fleet_checks import building_faults, point_faults, repeated_rows, with_shared_points
from config.row_checks import FILE as FANS_FILE
from config.service_log import COLUMNS as SERVICE_COLUMNS
from config.service_log import FILE as SERVICE_FILE
from config.service_log import REQUIRED as SERVICE_REQUIRED
from config.service_log import ServiceEntry, read_entries
from config.sheet import Sheet, read_sheet
from config.site import Site
from config.site_file import read_site

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
    # The rows are checked even where site.toml is faulty, so that everything is said in one go.
    epochs, fan_faults = _read_fans(folder, site)
    is_fleet_known = site is not None and not fan_faults
    service, service_faults = _read_service(folder, epochs, is_fleet_known=is_fleet_known)
    faults += fan_faults + service_faults
    if site is not None and not fan_faults:
        faults += building_faults(epochs, site)
    if faults or site is None:
        raise FaultySite(faults)
    return SiteFolder(path=folder, site=site, fans=tuple(epochs), service=tuple(service))


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


def _read_fans(folder: Path, site: Site | None) -> tuple[list[FanEpoch], list[Fault]]:
    try:
        sheet = read_sheet(folder / FANS_FILE, FanRow.names(), _FAN_REQUIRED)
    except FaultySite as faulty:
        return [], list(faulty.faults)
    epochs: list[FanEpoch] = []
    faults = list(sheet.faults)
    known = frozenset(FanRow.names())
    context = {"is_decimal_comma_allowed": sheet.delimiter != ","}
    for line, cells in ((row.line, row.cells) for row in sheet.rows):
        given = {name: cell for name, cell in cells.items() if name in known}
        try:
            row = FanRow.model_validate(given, context=context)
        except ValidationError as error:
            faults += _without_absent(faults_of(error, FANS_FILE, line, {}), sheet)
            continue
        epoch, epoch_faults = build_epoch(row, line, frozenset(given), site)
        faults += epoch_faults
        if epoch is not None:
            epochs.append(epoch)
    faults += [*repeated_rows(sheet), *point_faults(epochs, site)]
    return with_shared_points(epochs), in_order(faults)


def _without_absent(faults: list[Fault], sheet: Sheet) -> list[Fault]:
    """Drop what is said of each row for want of a column: the header's fault has said it once."""
    return [fault for fault in faults if fault.column not in _FAN_REQUIRED or fault.column in sheet.columns]


def _read_service(
    folder: Path, epochs: list[FanEpoch], *, is_fleet_known: bool
) -> tuple[list[ServiceEntry], list[Fault]]:
    if not (folder / SERVICE_FILE).exists():
        return [], []
    try:
        sheet = read_sheet(folder / SERVICE_FILE, SERVICE_COLUMNS, SERVICE_REQUIRED)
    except FaultySite as faulty:
        return [], list(faulty.faults)
    by_fan = epochs_by_fan(epochs)
    entries, faults = read_entries(
        sheet,
        tuple(by_fan),
        lambda fan, date: _epoch_at(by_fan.get(fan, ()), date),
        is_fleet_known=is_fleet_known,
    )
    return entries, in_order([*sheet.faults, *faults])
