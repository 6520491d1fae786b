"""What cannot be right when the rows of fans.csv are held together, and which points fans share."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from analytics.vocabulary import Role
from config.epoch import FanEpoch
from config.fans import FanRow
from config.faults import Fault, advice
from config.row_checks import FILE
from config.sheet import Reading, Sheet
from config.site import Site
from config.unread import as_far_as_read, is_read

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
FanReading = Reading[FanRow]
_Use = tuple[FanReading, Role]
_Told = tuple[str, tuple[str, ...]]  # a key of site.toml and the buildings it names


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


def point_faults(rows: Iterable[FanReading], site: Site) -> list[Fault]:
    """Return the points that would have to be two things, in rows whose other cells may be faulty."""
    uses: dict[str, list[_Use]] = defaultdict(list)
    for row in rows:
        for role in Role:
            point = row.table.point(role)
            if point is not None and is_read(point):
                uses[point].append((row, role))
    faults: list[Fault] = []
    for point, users in uses.items():
        named = [use for use in users if is_read(use[0].table.fan)]
        faults += _clashes(point, named)
        for rule in (_barometer_clash, _outdoor_temperature_clash):
            faults += as_far_as_read(rule, point, users, site)
    return faults


def building_faults(rows: Iterable[FanReading], site: Site) -> list[Fault]:
    """Return the buildings that somebody is to be told of and in which no fan stands."""
    buildings = [row.table.building for row in rows]
    if not all(map(is_read, buildings)):
        return []
    known = sorted({building for building in buildings if building})
    told = [*as_far_as_read(_told_of_crews, site), *as_far_as_read(_told_of_hooks, site)]
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


def _told_of_crews(site: Site) -> Iterator[_Told]:
    for place, crew in enumerate(() if site.mail is None else site.mail.crews, start=1):
        if is_read(crew) and is_read(crew.buildings):
            yield f"mail.crews.{place}.buildings", tuple(filter(is_read, crew.buildings))


def _told_of_hooks(site: Site) -> Iterator[_Told]:
    for place, hook in enumerate(site.hooks, start=1):
        if is_read(hook) and is_read(hook.buildings):
            yield f"hooks.{place}.buildings", tuple(filter(is_read, hook.buildings))


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


def _clashes(point: str, users: list[_Use]) -> Iterator[Fault]:
    """Yield the first clash of a point: the others are most often the same mistake."""
    for row, role in users[1:]:
        first, first_role = users[0]
        if row.table.fan == first.table.fan:
            continue
        if role is not first_role:
            problem = f"is already {first_role}_point of {first.table.fan} (line {first.line})"
            remedy = "a point has one meaning: correct one of them"
        elif role not in SHAREABLE:
            problem = f"is already the {role} of {first.table.fan} (line {first.line})"
            remedy = "name each fan's own point; motors on one drive are one row with motor_count"
        else:
            continue
        yield Fault(FILE, row.line, f"{role}_point", point, problem, remedy)
        return


def _barometer_clash(point: str, users: list[_Use], site: Site) -> Iterator[Fault]:
    if point == site.barometric_pressure_point:
        yield _of_whole_site(point, users[0])


def _outdoor_temperature_clash(point: str, users: list[_Use], site: Site) -> Iterator[Fault]:
    if users[0][1] is not Role.AIR_TEMPERATURE and point == site.outdoor_temperature_point:
        yield _of_whole_site(point, users[0])


def _of_whole_site(point: str, use: _Use) -> Fault:
    row, role = use
    remedy = "a point has one meaning: correct one of them"
    return Fault(FILE, row.line, f"{role}_point", point, "is a point of the whole site", remedy)
