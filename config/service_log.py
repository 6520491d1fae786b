"""What service_log.csv may say: what was done to which fan when."""

import datetime as dt
from collections.abc import Callable, Collection, Iterable, Iterator
from typing import Annotated, Final

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict

from analytics.vocabulary import Role, Work
from config.epoch import PointUnit
from config.faults import Fault, faults_of, nearest
from config.sheet import Reading
from config.table import Table
from config.unread import as_far_as_read
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


ServiceReading = Reading[ServiceRow]
SpeedUnitAt = Callable[[str, dt.date], PointUnit | None]


def entry_faults(
    rows: Iterable[ServiceReading], fan_names: Collection[str] | None, speed_unit_at: SpeedUnitAt
) -> list[Fault]:
    """Return every fault in the rows of a log.

    Parameters: `fan_names`, the fans there are, None where that could not be read; `speed_unit_at`, the unit
    of a fan's speeds on a date, None where the fan has no row then.
    """
    faults: list[Fault] = []
    for row in rows:
        faults += faults_of(row.refused, FILE, row.line, {})
        if fan_names is not None:
            faults += as_far_as_read(_fan_faults, row.table, row.line, fan_names)
            faults += as_far_as_read(_speed_faults, row.table, row.line, fan_names, speed_unit_at)
    return faults


def entries_of(rows: Iterable[ServiceReading], speed_unit_at: SpeedUnitAt) -> list[ServiceEntry]:
    """Return what the rows of a log without a fault say."""
    return [_entry(row.table, row.line, speed_unit_at) for row in rows]


def _fan_faults(row: ServiceRow, line: int, fan_names: Collection[str]) -> Iterator[Fault]:
    if row.fan not in fan_names:
        close = nearest(row.fan, fan_names)
        remedy = f"did you mean {close}?" if close else "add the fan to fans.csv, or correct the name"
        yield Fault(FILE, line, "fan", row.fan, "is not a fan of fans.csv", remedy)


def _speed_faults(
    row: ServiceRow, line: int, fan_names: Collection[str], speed_unit_at: SpeedUnitAt
) -> Iterator[Fault]:
    if row.speed is None or row.fan not in fan_names:
        return
    unit = speed_unit_at(row.fan, row.date)
    fraction = None if unit is None else _speed_fraction(row.speed, unit)
    if fraction is None or fraction > _LARGEST_SPEED_FRACTION:
        words = unit.unit if unit else "no unit, the fan having no row then"
        problem = f"is no speed of this fan (its speed point is in {words})"
        yield Fault(
            FILE, line, "speed", f"{row.speed:g}", problem, "write it in the unit of the fan's speed point"
        )


def _entry(row: ServiceRow, line: int, speed_unit_at: SpeedUnitAt) -> ServiceEntry:
    unit = None if row.speed is None else speed_unit_at(row.fan, row.date)
    return ServiceEntry(
        fan=row.fan,
        date=row.date,
        time=row.time,
        work=row.work,
        role=row.role,
        motor_rpm=row.motor_rpm,
        fan_rpm=row.fan_rpm,
        speed_fraction=None if row.speed is None or unit is None else _speed_fraction(row.speed, unit),
        no_load_a=row.no_load_a,
        note=row.note,
        row=line,
    )


def _speed_fraction(written: float, unit: PointUnit) -> float | None:
    if unit.unit == "rpm" and unit.sync_rpm is None:
        return None
    return float(unit.to_si(np.array([float(written)]))[0])
