"""Any split, order, repetition or overlap of a readings table, in any layout, comes back equal."""

import datetime as dt
import os
import random
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config import load_site
from service.intake import export_intake, export_readings, pull
from service.store import open_store
from tests.service.databases import database_line

ZONE = ZoneInfo("Europe/Dublin")
POINTS = ("A speed", "A amps", "B speed", "B amps", "not mapped")
SITE = 'name = "S"\ntimezone = "Europe/Dublin"\n[units]\nspeed = "Hz"\n'
FANS = (
    "fan,drive,motor_kw,speed_point,current_point\nA,direct,11,A speed,A amps\nB,direct,11,B speed,B amps\n"
)
START = dt.datetime(2025, 3, 30, 0, 0, tzinfo=dt.UTC)  # the clocks go forward an hour later
STEP = dt.timedelta(minutes=15)

numbers = st.one_of(st.none(), st.floats(0, 60, allow_nan=False).map(lambda number: round(number, 3)))
tables = st.lists(st.tuples(*(numbers for _ in POINTS)), min_size=1, max_size=12)
Row = tuple[int, Sequence[float | None]]


def stamp(row: int) -> str:
    return f"{(START + row * STEP).astimezone(ZONE):%Y-%m-%d %H:%M}"


def text(value: float | None) -> str:
    return "" if value is None else repr(value)


def wide(rows: Sequence[Row], _chance: random.Random) -> dict[str, str]:
    lines = [",".join([stamp(row), *(text(value) for value in values)]) for row, values in rows]
    return {"": "\n".join([",".join(["Time", *POINTS]), *lines]) + "\n"}


def long(rows: Sequence[Row], chance: random.Random) -> dict[str, str]:
    lines = [
        f"{stamp(row)},{point},{text(value)}"
        for row, values in rows
        for point, value in zip(POINTS, values, strict=True)
    ]
    chance.shuffle(lines)
    return {"": "\n".join(["Time,Point,Value", *lines]) + "\n"}


def single(rows: Sequence[Row], _chance: random.Random) -> dict[str, str]:
    return {
        point: "\n".join(["Time,Value", *(f"{stamp(row)},{text(values[place])}" for row, values in rows)])
        + "\n"
        for place, point in enumerate(POINTS)
    }


LAYOUTS = {"wide": wide, "long": long, "single": single}


class Folder:
    """A site that lives as long as one example."""

    def __init__(self, folder: str) -> None:
        self.path = Path(folder)
        (self.path / "site.toml").write_text(database_line(self.path) + SITE)
        (self.path / "fans.csv").write_text(FANS)
        self.drop = self.path / "drop"
        self.drop.mkdir()
        self.site = load_site(self.path)

    def pull(self) -> None:
        with open_store(self.site) as store:
            pull(self.site, store, clock=lambda: dt.datetime(2025, 7, 1, tzinfo=dt.UTC))

    def result(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        with open_store(self.site) as store:
            return export_readings(self.site, store), export_intake(store)


def expected(table: Sequence[Sequence[float | None]]) -> dict[tuple[str, str], tuple[Any, Any]]:
    result = {}
    for row, values in enumerate(table):
        time = f"{START + row * STEP:%Y-%m-%dT%H:%M:%SZ}"
        for fan, pair in (("A", values[0:2]), ("B", values[2:4])):
            if pair != (None, None):
                result[fan, time] = (None if pair[0] is None else pair[0] / 60.0, pair[1])
    return dict(sorted(result.items()))


def found(readings: pd.DataFrame) -> dict[tuple[str, str], tuple[Any, Any]]:
    filled = readings.astype(object).where(readings.notna(), None)
    columns = ("fan", "time_utc", "speed_fraction", "current_a")
    return {
        (fan, time): (speed, amps)
        for fan, time, speed, amps in zip(*(filled[c] for c in columns), strict=True)
    }


def assert_balanced(intake: pd.DataFrame) -> None:
    assert (intake["rows_read"] == intake[["stored", "identical", "superseded", "refused"]].sum(axis=1)).all()


def of_examples(count: int) -> settings:
    return settings(max_examples=count, suppress_health_check=[HealthCheck.too_slow])


any_split = given(table=tables, data=st.data(), seed=st.integers(0, 10_000))


@of_examples(4)
@any_split
def test_any_split_order_repetition_and_overlap_comes_back_equal(table: Any, data: Any, seed: int) -> None:
    assert_it_comes_back_equal(table, data, seed)


@pytest.mark.long
@pytest.mark.timeout(3600)
@of_examples(200)
@any_split
def test_any_split_order_repetition_and_overlap_comes_back_equal_at_length(
    table: Any, data: Any, seed: int
) -> None:
    assert_it_comes_back_equal(table, data, seed)


def assert_it_comes_back_equal(table: Any, data: Any, seed: int) -> None:
    chance = random.Random(seed)
    chunks = data.draw(
        st.lists(
            st.tuples(
                st.sampled_from(sorted(LAYOUTS)),
                st.lists(st.integers(0, len(table) - 1), min_size=1, unique=True).map(sorted),
            ),
            max_size=3,
        )
    )
    chunks.append((data.draw(st.sampled_from(sorted(LAYOUTS))), list(range(len(table)))))
    chance.shuffle(chunks)
    with tempfile.TemporaryDirectory() as name:
        folder = Folder(name)
        for place, (layout, rows) in enumerate(chunks):
            for point, content in LAYOUTS[layout]([(row, table[row]) for row in rows], chance).items():
                target = folder.drop / f"chunk {place}" / f"{point or layout}.csv"
                target.parent.mkdir(exist_ok=True)
                target.write_text(content)
                target.replace(folder.drop / f"{point}.csv" if point else folder.drop / f"{place}.csv")
                if chance.random() < 0.5:
                    folder.pull()
        folder.pull()
        readings, intake = folder.result()
        assert found(readings) == expected(table)
        assert_balanced(intake)
        assert intake["superseded"].sum() == 0
        assert intake["refused"].sum() == 0


conflicts = given(
    files=st.lists(
        st.tuples(
            st.lists(st.tuples(st.integers(0, 3), st.sampled_from((1.0, 2.0, 3.0))), min_size=1, max_size=4),
            st.integers(1, 3),
        ),
        min_size=2,
        max_size=4,
    ),
    seed=st.integers(0, 10_000),
)


@of_examples(4)
@conflicts
def test_conflicting_exports_end_the_same_in_any_order_and_grouping(files: Any, seed: int) -> None:
    assert_the_ends_are_the_same(files, seed)


@pytest.mark.long
@pytest.mark.timeout(3600)
@of_examples(200)
@conflicts
def test_conflicting_exports_end_the_same_in_any_order_and_grouping_at_length(files: Any, seed: int) -> None:
    assert_the_ends_are_the_same(files, seed)


def assert_the_ends_are_the_same(files: Any, seed: int) -> None:
    chance = random.Random(seed)
    ends = []
    for _ in range(2):
        order = list(enumerate(files))
        chance.shuffle(order)
        with tempfile.TemporaryDirectory() as name:
            folder = Folder(name)
            for place, (rows, modified) in order:
                path = folder.drop / f"{place}.csv"
                path.write_text("Time,A amps\n" + "".join(f"{stamp(row)},{value}\n" for row, value in rows))
                os.utime(path, (modified, modified))
                if chance.random() < 0.6:
                    folder.pull()
            folder.pull()
            readings, intake = folder.result()
            assert_balanced(intake)
            ends.append(found(readings))
    assert ends[0] == ends[1]


@settings(max_examples=40)
@given(
    lines=st.lists(st.text(alphabet='0123456789-: ,;."\r\tTab\xfcx', max_size=30), max_size=8),
    header=st.sampled_from(("Time,A amps,B amps", "Time;A amps", "Time,Point,Value", "Time,Value", "")),
)
def test_no_text_crashes_the_reading_and_every_cell_is_accounted_for(lines: Any, header: str) -> None:
    from service.intake.mapping import map_points
    from service.intake.reading import read_export
    from service.intake.text import UnreadableFileError

    with tempfile.TemporaryDirectory() as name:
        site = Folder(name).site
    content = "\n".join([header, "2025-03-01 00:00,1,2", *lines]).encode()
    try:
        reading = read_export(content, "A amps.csv", site.site.sources[0], ZONE, map_points(site))
    except UnreadableFileError:
        return
    values = sum(
        len(series.times_us)
        + sum(int(extra.sum()) for extra in (series.repeated, series.overruled) if extra is not None)
        for series in reading.series.values()
    )
    assert reading.cells == values + reading.refused_count + reading.missing + reading.unmapped
    assert reading.refused_count == sum(refused.cells for refused in reading.refused)
