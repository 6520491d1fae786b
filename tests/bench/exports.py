"""The fleet's trends written as a building system would: wide, long, and one point a file."""

from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from tests.bench.bench import Size
from tests.bench.trends import fan_trends, point_name, times

_FANS_A_FILE: Final = 25


def write_wide(drop: Path, size: Size) -> None:
    """Write one file, a column a point."""
    columns = {
        point_name(trend.fan, role): pa.array(values)
        for trend in fan_trends(size)
        for role, values in trend.values.items()
    }
    _write(drop / "wide.csv", pa.table({"Timestamp": _stamps(size), **columns}))


def write_wide_groups(drop: Path, size: Size, steps: slice, name: str) -> None:
    """Write some of the times, a file a group of fans, so that no fleet is too large for the memory."""
    trends, stamps = fan_trends(size), _stamps(size)[steps]
    number = 0
    while group := list(islice(trends, _FANS_A_FILE)):
        columns = {
            point_name(trend.fan, role): pa.array(values[steps])
            for trend in group
            for role, values in trend.values.items()
        }
        _write(drop / f"{name} {number:03d}.csv", pa.table({"Timestamp": stamps, **columns}))
        number += 1


def write_long(drop: Path, size: Size) -> None:
    """Write one file, a row a value, all points of a time together."""
    trends = list(fan_trends(size))
    names = [point_name(trend.fan, role) for trend in trends for role in trend.values]
    values = np.stack([values for trend in trends for values in trend.values.values()])
    stamps = _stamps(size)
    rows = np.arange(values.size)
    table = pa.table(
        {
            "Timestamp": stamps.take(pa.array(rows // len(names))),
            "Point": pa.array(names).take(pa.array(rows % len(names))),
            "Value": values.T.ravel(),
        }
    )
    _write(drop / "long.csv", table)


def write_long_by_point(drop: Path, size: Size) -> None:
    """Write one file, a row a value, all times of a point together."""
    stamps = _stamps(size)
    parts = [
        pa.table(
            {
                "Timestamp": stamps,
                "Point": pa.repeat(point_name(trend.fan, role), len(stamps)),
                "Value": values,
            }
        )
        for trend in fan_trends(size)
        for role, values in trend.values.items()
    ]
    _write(drop / "long.csv", pa.concat_tables(parts))


def write_singles(drop: Path, size: Size) -> None:
    """Write one file a point, named by it."""
    stamps = _stamps(size)
    for trend in fan_trends(size):
        for role, values in trend.values.items():
            name = f"{point_name(trend.fan, role)}.csv"
            _write(drop / name, pa.table({"Timestamp": stamps, "Value": values}))


def files_of(drop: Path) -> Sequence[Path]:
    """Return the exports of a drop in the order of their names."""
    return sorted(drop.iterdir())


def _stamps(size: Size) -> pa.Array:
    return pa.array(times(size).strftime("%Y-%m-%d %H:%M:%S"), type=pa.string())


def _write(path: Path, table: pa.Table) -> None:
    pacsv.write_csv(table, path, pacsv.WriteOptions(quoting_style="none", quoting_header="none"))
