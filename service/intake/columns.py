"""What the columns of an export are called: the site's points, whatever unit stands behind their names."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Final

from service.intake.head import Head
from service.intake.layouts import Layout
from service.intake.mapping import PointMap
from service.intake.quantities import is_bracketed, split_unit, unit_named

_ENDINGS: Final = (".gz", ".csv", ".txt", ".tsv")


@dataclass(frozen=True, slots=True)
class Columns:
    """The name of each value column, and what about them a person should hear of."""

    names: Mapping[int, str]
    notes: Sequence[str]


def point_of_file(file: str) -> str:
    """Return a file's name without its folder and ending: the point of a file that holds one."""
    name = PurePosixPath(file).name
    for ending in _ENDINGS:
        if name.lower().endswith(ending):
            name = name[: -len(ending)]
    return name


def name_columns(head: Head, layout: Layout, file: str, points: PointMap) -> Columns:
    """Name the value columns by the points that the site maps, with or without the units behind them."""
    if layout.kind == "long":
        return Columns({layout.values[0]: head.header[layout.values[0]]}, ())
    notes: list[str] = []
    if layout.kind == "single":
        column = layout.values[0]
        written = head.header[column]
        if layout.is_named_by_file:
            written = point_of_file(file)
        elif layout.named_above:
            written = layout.named_above
        name = points_of_names([written], points, notes)[written]
        unit = unit_named(head.units[column]) or split_unit(head.header[column])[1]
        notes += contradictions({name: unit}, points)
        return Columns({column: name}, tuple(dict.fromkeys(notes)))
    written_names = [head.header[column] for column in layout.values]
    known = points_of_names(written_names, points, notes)
    heads = Counter(known[name] for name in written_names)
    notes += [
        f"{name!r} heads {count} columns: where they differ the last one holds"
        for name, count in heads.items()
        if count > 1 and name in points.targets
    ]
    names = {column: known[head.header[column]] for column in layout.values}
    in_rows = {names[column]: unit_named(head.units[column]) for column in layout.values}
    return Columns(names, [*notes, *contradictions(in_rows, points)])


def points_of_names(written: Sequence[str], points: PointMap, notes: list[str]) -> dict[str, str]:
    """Return the point that each name stands for: itself, or a mapped one that differs by a unit's name."""
    distinct = dict.fromkeys(written)
    known = {name: points.point_named(name) for name in distinct}
    claims = Counter(point for name, point in known.items() if point != name)
    for name, point in known.items():
        if point != name and (claims[point] > 1 or point in distinct):
            known[name] = name
            notes.append(f"{name!r} may be {point!r}, but so may another: fans.csv must name the one meant")
    units = {}
    for name in distinct:
        unit = split_unit(name)[1]
        if is_bracketed(name) or any(unit in target.units for target in points.targets.get(known[name], ())):
            units[known[name]] = unit
    notes += contradictions(units, points)
    return known


def contradictions(units: Mapping[str, str | None], points: PointMap) -> list[str]:
    """Say where an export's unit is not the one that the site declares, which is the one that holds."""
    found = []
    for point, unit in units.items():
        declared = {target.unit for target in points.targets.get(point, ()) if target.unit}
        if unit is not None and declared and unit not in declared:
            says = " and ".join(sorted(declared))
            found.append(f"{point!r} is in {unit} by this file, in {says} by the site: read as {says}")
    return found
