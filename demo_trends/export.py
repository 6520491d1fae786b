"""Trends written as a building system exports them: wide or one point a file, in the site's civil time."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd

from demo_trends.plan import FanPlan
from demo_trends.readings import COLUMNS
from demo_trends.schedule import COLUMNS as SCHEDULE_COLUMNS
from demo_trends.schedule import schedule_row
from demo_trends.simulator import Trends
from demo_trends.units import UNITS

OUTDOOR_POINT = "Outdoor temperature"
BAROMETER_POINT = "Barometer"
CLOCK = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True)
class PointColumn:
    """One point's exported text, one cell a time stamp; blank where nothing came."""

    name: str
    cells: list[str]


def cells(values: np.ndarray, step: float) -> list[str]:
    """Numbers as a building system prints them: to the step, without trailing zeros, blank for none."""
    decimals = 0
    while decimals < 6 and abs(round(step, decimals) - step) > 1e-9:
        decimals += 1
    texts = []
    for value in values.tolist():
        if value != value:  # noqa: PLR0124 - the quickest test for NaN
            texts.append("")
            continue
        text = f"{value:.{decimals}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        texts.append("0" if text == "-0" else text)
    return texts


def point_columns(trends: Trends, points: Mapping[str, str]) -> list[PointColumn]:
    """The points of one fan in the units and steps of its sensors; `points` is point name by role."""
    columns = []
    for role, point in points.items():
        sensor = trends.plan.sensors[role]
        values = trends.readings[COLUMNS[role]].to_numpy()
        if role == "speed" and sensor.unit == "percent":
            values = values / trends.plan.control.max_fraction
        columns.append(PointColumn(point, cells(UNITS[sensor.unit].from_si(values), sensor.step)))
    return columns


def plain_points(plan: FanPlan) -> dict[str, str]:
    """A point name for every sensor of a fan, from the fan's name."""
    return {role: f"{plan.name}.{role}" for role in plan.sensors}


def wide(columns: Sequence[PointColumn], clock: Sequence[str], rows: slice, label: str = "Timestamp") -> str:
    """One file of many points; a row in which every point is blank is left out."""
    lines = [",".join([label, *(column.name for column in columns)])]
    parts = [column.cells[rows] for column in columns]
    for stamp, values in zip(clock[rows], zip(*parts, strict=True), strict=True):
        if any(values):
            lines.append(",".join([stamp, *values]))
    return "\n".join(lines) + "\n"


def single(column: PointColumn, clock: Sequence[str], label: str = "Timestamp", value: str = "Value") -> str:
    """One file of one point."""
    pairs = zip(clock, column.cells, strict=True)
    return "\n".join([f"{label},{value}", *(f"{stamp},{cell}" for stamp, cell in pairs if cell)]) + "\n"


def long(columns: Sequence[PointColumn], clock: Sequence[str]) -> str:
    """One file of many points, one reading a row."""
    lines = ["Timestamp,Point,Value"]
    for column in columns:
        pairs = zip(clock, column.cells, strict=True)
        lines += [f"{stamp},{column.name},{cell}" for stamp, cell in pairs if cell]
    return "\n".join(lines) + "\n"


def wall_clock(time: pd.DatetimeIndex, zone: str) -> list[str]:
    """The local clock at each step; an hour is missing in spring and told twice in autumn, as on any wall."""
    return [str(stamp) for stamp in time.tz_convert(zone).strftime(CLOCK)]


def months(time: pd.DatetimeIndex, zone: str) -> dict[str, slice]:
    """The steps of each calendar month in plant time."""
    names = time.tz_convert(zone).strftime("%Y-%m").to_numpy()
    starts = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist(), len(names)]
    return {str(names[begin]): slice(begin, end) for begin, end in pairwise(starts)}


def table(rows: Iterable[Mapping[str, str]], columns: Sequence[str]) -> str:
    """A CSV of these columns, less those that are blank in every row."""
    kept_rows = list(rows)
    used = [column for column in columns if any(row.get(column) for row in kept_rows)]
    text = io.StringIO()
    writer = csv.DictWriter(text, used, extrasaction="ignore", restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(kept_rows)
    return text.getvalue()


def write_site(
    folder: Path,
    runs: Sequence[Trends],
    *,
    is_metric: bool = True,
    layout: str = "wide",
    healthy: tuple[str, str],
    has_barometer: bool = False,
) -> None:
    """A whole site folder of simulated fans that share one place and one clock, for `slipledger` to read.

    The weather of the first run goes with it: the temperature always, the barometer where there is one.
    """
    place = runs[0].plan.site
    drop = folder / "drop"
    drop.mkdir(parents=True, exist_ok=True)
    weather_points = f'outdoor_temperature_point = "{OUTDOOR_POINT}"\n'
    if has_barometer:
        weather_points += f'barometric_pressure_point = "{BAROMETER_POINT}"\n'
    (folder / "site.toml").write_text(
        f'name = "Drawn fans"\ntimezone = "{place.zone}"\naltitude_m = {place.climate.altitude_m:.0f}\n'
        f"{weather_points}\n"
        f'[[sources]]\nname = "exports"\nurl = "drop"\nlayout = "auto"\n\n'
        '[units]\noutdoor_temperature = "degC"\nbarometric_pressure = "Pa"\n\n'
        f'[baseline]\nfrom = "{healthy[0]}"\nto = "{healthy[1]}"\n',
        encoding="utf-8",
    )
    rows = [schedule_row(run.plan, plain_points(run.plan), is_metric=is_metric) for run in runs]
    (folder / "fans.csv").write_text(table(rows, SCHEDULE_COLUMNS), encoding="utf-8")
    sky = runs[0].weather
    weather = [PointColumn(OUTDOOR_POINT, cells(sky.outdoor_c, 0.1))]
    if has_barometer:
        weather.append(PointColumn(BAROMETER_POINT, cells(sky.barometer_pa, 10.0)))
    clock = wall_clock(sky.time, place.zone)
    (drop / "weather.csv").write_text(wide(weather, clock, slice(0, len(clock))), encoding="utf-8")
    for run in runs:
        time = pd.DatetimeIndex(run.readings.index)
        columns, clock = point_columns(run, plain_points(run.plan)), wall_clock(time, place.zone)
        if layout == "single":
            for column in columns:
                (drop / f"{column.name}.csv").write_text(single(column, clock), encoding="utf-8")
        elif layout == "long":
            (drop / f"{run.plan.name}.csv").write_text(long(columns, clock), encoding="utf-8")
        else:
            text = wide(columns, clock, slice(0, len(clock)))
            (drop / f"{run.plan.name}.csv").write_text(text, encoding="utf-8")
