"""What cannot be right when the rows of fans.csv are held together, and which points fans share."""

from collections import defaultdict
from dataclasses import replace
from typing import Final

from analytics.vocabulary import Role
from config.epoch import FanEpoch
from config.faults import Fault, advice
from config.row_checks import FILE
from config.sheet import Sheet
from config.site import Site

# Two fans may hang on one of these: a common plenum's pressure or airflow, one temperature or damper,
# one command to several drives. The others are one machine's own.
SHAREABLE: Final = frozenset(
    {
        Role.SPEED,
        Role.AIRFLOW,
        Role.PRESSURE,
        Role.AIR_TEMPERATURE,
        Role.RUN_STATUS,
        Role.OUTDOOR_AIR_DAMPER,
    }
)
_Use = tuple[FanEpoch, Role]


def repeated_rows(sheet: Sheet) -> list[Fault]:
    """Return the rows that declare a fan from a date on that another row declares already."""
    faults = []
    first_line: dict[tuple[str, str], int] = {}
    for row in sheet.rows:
        fan, date = row.cells.get("fan", ""), row.cells.get("from", "")
        earlier = first_line.setdefault((fan, date), row.line)
        if fan and earlier != row.line:
            when = f"from {date} on" if date else "without a date in from"
            problem = f"is already declared {when} on line {earlier}"
            remedy = "give the later row the date from which it holds, or each fan a name of its own"
            faults.append(Fault(FILE, row.line, "fan", fan, problem, remedy))
    return faults


def point_faults(epochs: list[FanEpoch], site: Site | None) -> list[Fault]:
    """Return the points that would have to be two things."""
    uses: dict[str, list[_Use]] = defaultdict(list)
    for epoch in epochs:
        for role, point in epoch.points.items():
            uses[point].append((epoch, role))
    faults = []
    for point, users in uses.items():
        fault = _clash(point, users)
        if fault is not None:
            faults.append(fault)
        if site is not None:
            faults += _site_clash(point, users, site)
    return faults


def building_faults(epochs: list[FanEpoch], site: Site) -> list[Fault]:
    """Return the buildings that somebody is to be told of and in which no fan stands."""
    known = sorted({epoch.building for epoch in epochs if epoch.building})
    crews = () if site.mail is None else site.mail.crews
    told = [(f"mail.crews.{place}.buildings", crew.buildings) for place, crew in enumerate(crews, start=1)]
    told += [(f"hooks.{place}.buildings", hook.buildings) for place, hook in enumerate(site.hooks, start=1)]
    return [
        Fault(
            "site.toml",
            None,
            column,
            building,
            "is the building of no fan in fans.csv",
            advice(building, known, "write it as fans.csv does") if known else "name buildings in fans.csv",
        )
        for column, buildings in told
        for building in buildings
        if building not in known
    ]


def with_shared_points(epochs: list[FanEpoch]) -> list[FanEpoch]:
    """Return the epochs with airflow and pressure marked where another fan names the same point."""
    fans_of: dict[str, set[str]] = defaultdict(set)
    for epoch in epochs:
        for role in (Role.AIRFLOW, Role.PRESSURE):
            if role in epoch.points:
                fans_of[epoch.points[role]].add(epoch.fan)
    return [_marked(epoch, fans_of) for epoch in epochs]


def _marked(epoch: FanEpoch, fans_of: dict[str, set[str]]) -> FanEpoch:
    is_airflow_shared = len(fans_of.get(epoch.points.get(Role.AIRFLOW, ""), ())) > 1
    is_pressure_shared = len(fans_of.get(epoch.points.get(Role.PRESSURE, ""), ())) > 1
    if not is_airflow_shared and not is_pressure_shared:
        return epoch
    machine = replace(
        epoch.machine, is_airflow_shared=is_airflow_shared, is_pressure_shared=is_pressure_shared
    )
    return epoch.model_copy(update={"machine": machine})


def _clash(point: str, users: list[_Use]) -> Fault | None:
    first, first_role = users[0]
    for epoch, role in users[1:]:
        if epoch.fan == first.fan:
            continue
        column = f"{role}_point"
        if role is not first_role:
            problem = f"is already {first_role}_point of {first.fan} (line {first.row})"
            return Fault(
                FILE, epoch.row, column, point, problem, "a point has one meaning: correct one of them"
            )
        if role not in SHAREABLE:
            problem = f"is already the {role} of {first.fan} (line {first.row})"
            remedy = "name each fan's own point; motors on one drive are one row with motor_count"
            return Fault(FILE, epoch.row, column, point, problem, remedy)
    return None


def _site_clash(point: str, users: list[_Use], site: Site) -> list[Fault]:
    epoch, role = users[0]
    if point == site.barometric_pressure_point or (
        point == site.outdoor_temperature_point and role is not Role.AIR_TEMPERATURE
    ):
        remedy = "a point has one meaning: correct one of them"
        return [Fault(FILE, epoch.row, f"{role}_point", point, "is a point of the whole site", remedy)]
    return []
