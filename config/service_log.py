"""What service_log.csv may say: what was done to which fan when."""

import datetime as dt
from collections.abc import Callable
from typing import Annotated, Final

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from analytics.vocabulary import Role, Work
from config.epoch import FanEpoch
from config.faults import Fault, faults_of, nearest
from config.sheet import Sheet
from config.table import Table
from config.values import Clock, Date, Number, Text, above, within, word_reader

FILE: Final = "service_log.csv"
_LARGEST_SPEED_FRACTION: Final = 2.0


class ServiceRow(Table):
    """One row of service_log.csv as it is written there."""

    fan: Text
    date: Date
    time: Clock | None = None
    work: Annotated[Work, BeforeValidator(word_reader(Work))]
    role: Annotated[Role | None, BeforeValidator(word_reader(Role))] = None
    motor_rpm: Annotated[Number, within(10.0, 20_000.0, "write the reading in rpm")] | None = None
    fan_rpm: Annotated[Number, within(10.0, 20_000.0, "write the reading in rpm")] | None = None
    speed: (
        Annotated[Number, within(0.0, 20_000.0, "write the speed in the unit of the speed point")] | None
    ) = None
    no_load_a: Annotated[Number, above(0.0, 5000.0, "write amperes, measured with the belts off")] | None = (
        None
    )
    note: Text | None = None


COLUMNS: Final = ServiceRow.names()
REQUIRED: Final = ("fan", "date", "work")


class ServiceEntry(BaseModel):
    """One thing done to a fan, in plant time; speeds as fractions of motor_hz."""

    model_config = ConfigDict(frozen=True)

    fan: str
    date: dt.date
    time: dt.time | None
    work: Work
    role: Role | None
    motor_rpm: float | None
    fan_rpm: float | None
    speed_fraction: float | None
    no_load_a: float | None
    note: str | None
    row: int


EpochAt = Callable[[str, dt.date], FanEpoch | None]


def read_entries(
    sheet: Sheet, fan_names: tuple[str, ...], epoch_at: EpochAt, *, is_fleet_known: bool
) -> tuple[list[ServiceEntry], list[Fault]]:
    """Return the entries of a log whose sheet has been read, and every fault in them."""
    entries: list[ServiceEntry] = []
    faults: list[Fault] = []
    known = set(sheet.columns) & set(COLUMNS)
    context = {"is_decimal_comma_allowed": sheet.delimiter != ","}
    for line, cells in ((row.line, row.cells) for row in sheet.rows):
        given = {name: cell for name, cell in cells.items() if name in known}
        try:
            row = ServiceRow.model_validate(given, context=context)
        except ValidationError as error:
            absent = [name for name in REQUIRED if name not in sheet.columns]
            found = faults_of(error, FILE, line, {})
            faults += [fault for fault in found if fault.column not in absent]
            continue
        if row.fan not in fan_names:
            if is_fleet_known:  # else the fan may stand in a faulty row
                faults.append(_unknown_fan(row.fan, line, fan_names))
            continue
        entry, entry_faults = _entry(row, line, epoch_at)
        faults += entry_faults
        if entry is not None:
            entries.append(entry)
    return entries, faults


def _unknown_fan(fan: str, line: int, fan_names: tuple[str, ...]) -> Fault:
    close = nearest(fan, fan_names)
    remedy = f"did you mean {close}?" if close else "add the fan to fans.csv, or correct the name"
    return Fault(FILE, line, "fan", fan, "is not a fan of fans.csv", remedy)


def _entry(row: ServiceRow, line: int, epoch_at: EpochAt) -> tuple[ServiceEntry | None, list[Fault]]:
    speed_fraction = None
    if row.speed is not None:
        epoch = epoch_at(row.fan, row.date)
        speed_fraction = None if epoch is None else _speed_fraction(row.speed, epoch)
        if speed_fraction is None or speed_fraction > _LARGEST_SPEED_FRACTION:
            unit = epoch.speed_unit.unit if epoch else "no unit, the fan having no row then"
            problem = f"is no speed of this fan (its speed point is in {unit})"
            remedy = "write it in the unit of the fan's speed point"
            return None, [Fault(FILE, line, "speed", f"{row.speed:g}", problem, remedy)]
    entry = ServiceEntry(
        fan=row.fan,
        date=row.date,
        time=row.time,
        work=row.work,
        role=row.role,
        motor_rpm=row.motor_rpm,
        fan_rpm=row.fan_rpm,
        speed_fraction=speed_fraction,
        no_load_a=row.no_load_a,
        note=row.note,
        row=line,
    )
    return entry, []


def _speed_fraction(written: float, epoch: FanEpoch) -> float | None:
    speed = epoch.speed_unit
    if speed.unit == "rpm" and speed.sync_rpm is None:
        return None
    return float(speed.to_si(np.array([written]))[0])
