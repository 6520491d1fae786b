"""The Delta tables: what is appended, with which marker, and what a reading of them gives."""

import datetime as dt
import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from deltalake.exceptions import CommitFailedError

from service.store import row_groups
from service.store.columns import READINGS_SCHEMA, VALUE_COLUMNS
from service.store.hours import Hours
from service.store.lease import LeaseLost
from service.store.readings import Readings, microseconds, months_between, with_month

START = dt.datetime(2025, 1, 31, 23, 0, tzinfo=dt.UTC)
HOUR_US = 3_600_000_000


def rows(cells: list[tuple[str, int, dict[str, float], tuple[int, int, str]]]) -> pa.Table:
    """Return rows of fan, hours after the start, values and rank."""
    data: dict[str, list[Any]] = {name: [] for name in READINGS_SCHEMA.names if name != "month"}
    for fan, hour, values, rank in cells:
        data["fan"].append(fan)
        data["time"].append(microseconds(START) + hour * HOUR_US)
        for name in VALUE_COLUMNS:
            data[name].append(values.get(name))
        for name, part in zip(("rank_newest", "rank_modified", "rank_sha256"), rank, strict=True):
            data[name].append(part)
    schema = pa.schema([field for field in READINGS_SCHEMA if field.name != "month"])
    arrays = [
        pa.array(data[field.name], pa.int64()).cast(field.type)
        if field.name == "time"
        else pa.array(data[field.name], field.type)
        for field in schema
    ]
    return with_month(pa.Table.from_arrays(arrays, schema=schema)).cast(READINGS_SCHEMA)


@pytest.fixture
def readings(tmp_path: Path) -> Readings:
    return Readings(str(tmp_path / "some readings"))


def read(readings: Readings, fans: list[str], first: int = -9, last: int = 9) -> list[tuple[Any, ...]]:
    hour = dt.timedelta(hours=1)
    frame = readings.read(fans, START + first * hour, START + last * hour, ["current_a", "power_w"])
    hours = (frame["time"] - START) // hour
    values = (
        frame[["current_a", "power_w"]].astype(object).where(frame[["current_a", "power_w"]].notna(), None)
    )
    return list(zip(frame["fan"], hours, values["current_a"], values["power_w"], strict=True))


LOW, HIGH = (1, 9, "z"), (2, 1, "a")


def test_nothing_is_there_before_the_first_append(readings: Readings) -> None:
    assert read(readings, ["A"]) == []
    assert readings.span() is None
    assert not readings.table.has_marker(1)


def test_what_is_appended_comes_back_sorted_across_months(readings: Readings) -> None:
    readings.table.append(rows([("B", 2, {"current_a": 3.0}, LOW), ("B", 0, {"current_a": 2.0}, LOW)]), 1)
    readings.table.append(rows([("A", 1, {"current_a": 1.0}, LOW)]), 2)
    assert read(readings, ["A", "B"]) == [("A", 1, 1.0, None), ("B", 0, 2.0, None), ("B", 2, 3.0, None)]
    assert readings.span() == (START, START + dt.timedelta(hours=2))
    assert readings.span(["A"]) == (START + dt.timedelta(hours=1),) * 2


def test_the_span_read_is_half_open(readings: Readings) -> None:
    readings.table.append(rows([("A", hour, {"current_a": float(hour)}, LOW) for hour in range(4)]), 1)
    assert [row[1] for row in read(readings, ["A"], 1, 3)] == [1, 2]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_higher_rank_holds_column_by_column_in_any_order(
    readings: Readings, order: tuple[int, int]
) -> None:
    parts = [
        rows([("A", 0, {"current_a": 1.0, "power_w": 5.0}, LOW)]),
        rows([("A", 0, {"current_a": 2.0}, HIGH)]),
    ]
    for marker, place in enumerate(order):
        readings.table.append(parts[place], marker + 1)
    assert read(readings, ["A"]) == [("A", 0, 2.0, 5.0)]


@pytest.mark.parametrize(
    ("lower", "higher"), [((1, 9, "z"), (2, 1, "a")), ((1, 1, "z"), (1, 2, "a")), ((1, 1, "a"), (1, 1, "b"))]
)
def test_ranks_go_by_newest_record_then_time_then_digest(readings: Readings, lower: Any, higher: Any) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 2.0}, higher)]), 1)
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, lower)]), 2)
    assert read(readings, ["A"]) == [("A", 0, 2.0, None)]


@pytest.mark.parametrize("per_file", [1, 100])
def test_what_came_late_takes_its_place_among_the_rest(readings: Readings, per_file: int) -> None:
    hours = range(-100, 100)
    late, early = [
        [("A", hour, {"current_a": float(hour)}, LOW) for hour in hours if hour // per_file % 2 == place]
        for place in (1, 0)
    ]
    readings.table.append(rows(late), 1)
    readings.table.append(rows(early), 2)
    assert read(readings, ["A"], -100, 100) == [("A", hour, float(hour), None) for hour in hours]


def test_points_of_which_nothing_is_known_are_not_unpacked_unless_asked_for(readings: Readings) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW), ("B", 0, {"power_w": 2.0}, LOW)]), 1)
    readings.table.append(rows([("A", 9, {"current_a": 3.0}, LOW)]), 2)
    span = START, START + dt.timedelta(hours=10)
    assert list(readings.read_told(["A", "B"], *span)) == ["fan", "time", "current_a", "power_w"]
    whole = readings.read(["A"], *span)
    assert list(whole) == ["fan", "time", *VALUE_COLUMNS]
    assert whole["torque_fraction"].isna().all()
    assert list(readings.read_told(["C"], *span)) == ["fan", "time"]
    assert list(readings.read_told([], *span, ["power_w"])) == ["fan", "time", "power_w"]


def test_a_file_of_other_fans_is_skipped_however_many_are_asked_for(readings: Readings) -> None:
    many = [f"A{number:03d}" for number in range(200)]
    readings.table.append(rows([(fan, 0, {"current_a": 1.0}, LOW) for fan in many]), 1)
    readings.table.append(rows([(fan, 0, {"power_w": 2.0}, LOW) for fan in ("B", "C")]), 2)
    told = readings.read_told(many, START, START + dt.timedelta(hours=1))
    # What only the other file tells is not even known of.
    assert list(told) == ["fan", "time", "current_a"]
    assert list(told["fan"]) == many


@pytest.mark.parametrize("fan", ["", "O'Hara's \\ 5 % \"best\"", "Ü" * 40 + "1", "zu" * 60])
def test_a_fan_of_any_name_is_found_among_the_files(readings: Readings, fan: str) -> None:
    others = ["AHU", "m" * 99]
    for number, name in enumerate([*others, fan]):
        readings.table.append(rows([(name, 0, {"current_a": float(number)}, LOW)]), number + 1)
    assert read(readings, [fan]) == [(fan, 0, 2.0, None)]
    assert read(readings, others) == [("AHU", 0, 0.0, None), ("m" * 99, 0, 1.0, None)]


def _many_groups(readings: Readings, fans: list[str]) -> list[str]:
    """Write a file of several row groups of some fans, each telling of another point; return those points."""
    hours, points = range(600), VALUE_COLUMNS[:3]
    cells = [
        (fan, hour, {points[number * 3 // len(fans)]: float(hour)}, LOW)
        for number, fan in enumerate(fans)
        for hour in hours
    ]
    readings.table.append(rows(cells), 1)
    return list(points)


def test_only_the_row_groups_of_the_fans_and_times_sought_are_known_of(readings: Readings) -> None:
    fans = [f"A{number:02d}" for number in range(90)]
    points = _many_groups(readings, fans)
    # The hour before belongs to January, whose one row group is of all fans.
    month = START + dt.timedelta(hours=1), START + dt.timedelta(hours=481)
    first, last = readings.read_told(fans[:2], *month), readings.read_told([fans[0], fans[-1]], *month)
    assert list(first) == ["fan", "time", points[0]]
    assert list(last) == ["fan", "time", points[0], points[2]]
    assert first[points[0]].tolist() == [*map(float, range(1, 481))] * 2
    assert readings.read_told(["A00x"], *month).empty


def test_a_footer_is_read_once_a_process(readings: Readings, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def noted(path: str, **how: Any) -> pq.FileMetaData:
        asked.append(path)
        return pq.ParquetFile(path, **how).metadata

    monkeypatch.setattr(row_groups.pq, "read_metadata", noted)
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    for table in (readings, Readings(readings.table.address)):
        assert read(table, ["A"]) == [("A", 0, 1.0, None)]
        assert read(table, ["B"]) == []
    assert len(asked) == 1
    readings.table.append(rows([("A", 1, {"current_a": 2.0}, LOW)]), 2)
    assert read(readings, ["A"]) == [("A", 0, 1.0, None), ("A", 1, 2.0, None)]
    assert len(asked) == 2


def test_a_file_without_statistics_may_hold_anything(tmp_path: Path) -> None:
    path = tmp_path / "bare.parquet"
    bare = rows([("A", 0, {"current_a": 1.0}, LOW), ("B", 9, {}, LOW)])
    pq.write_table(bare, path, write_statistics=False)
    groups = row_groups.row_groups_of(str(path))
    assert groups.that_may_hold(["~"], 0, 1).tolist() == [0]
    assert set(VALUE_COLUMNS) <= set(groups.told(np.array([0])))


def test_a_commit_carries_its_marker(readings: Readings) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 7)
    again = Readings(readings.table.address)
    assert again.table.has_marker(7)
    assert not again.table.has_marker(8)


def test_every_bit_of_a_value_comes_back(readings: Readings) -> None:
    values = [0.1 + 0.2, 1e-300, 123456.789012345, 5e-324, -1.7976931348623157e308]
    readings.table.append(
        rows([("A", hour, {"current_a": value}, LOW) for hour, value in enumerate(values)]), 1
    )
    assert [row[2] for row in read(readings, ["A"])] == values


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Note what is flushed to the disk."""
    import os

    noted: list[str] = []
    real = os.fsync

    def noting(descriptor: int) -> None:
        noted.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noting)
    return noted


def test_a_commit_whose_writer_was_stopped_is_flushed_before_it_counts(
    readings: Readings, synced: list[str]
) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    synced.clear()
    assert Readings(readings.table.address).table.is_in_for_good(1, READINGS_SCHEMA)
    names = [Path(path).name for path in synced]
    data = next(place for place, name in enumerate(names) if name.endswith(".parquet"))
    commit = next(place for place, name in enumerate(names) if name.endswith(".json"))
    assert data < commit < names.index("_delta_log")


def test_a_commit_is_flushed_to_the_disk(readings: Readings, synced: list[str]) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW), ("A", 2, {"current_a": 1.0}, LOW)]), 1)
    root = Path(readings.table.address)
    files = {str(path) for path in root.rglob("*") if path.suffix in (".json", ".parquet")}
    assert len(files) == 4
    assert files | {str(root / "_delta_log"), str(root / "month=2025-01"), str(root)} <= set(synced)


def after_asking(then: Callable[[], None]) -> Callable[[], None]:
    """Return a question that is answered well; after the first time something happens that it cannot see."""
    times = itertools.count()

    def confirm() -> None:
        if not next(times):
            then()

    return confirm


@pytest.mark.parametrize("had_for", [0, 1], ids=["before the rows", "before the commit"])
def test_who_lost_the_right_to_write_commits_nothing(readings: Readings, had_for: int) -> None:
    times = itertools.count()

    def confirm() -> None:
        if next(times) >= had_for:
            raise LeaseLost("it is another's")

    loser = Readings(readings.table.address, confirm)
    with pytest.raises(LeaseLost, match="it is another's"):
        loser.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    assert not readings.table.has_marker(1)
    assert read(readings, ["A"]) == []


@pytest.mark.parametrize("is_first", [True, False])
def test_a_commit_that_slept_through_anothers_is_refused(readings: Readings, is_first: bool) -> None:
    if not is_first:
        readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    kept = read(readings, ["A"])
    others = rows([("A", 1, {"current_a": 2.0}, LOW)])
    sleeper = Readings(readings.table.address, after_asking(lambda: readings.table.append(others, 3)))
    with pytest.raises(CommitFailedError):
        sleeper.table.append(rows([("A", 2, {"current_a": 3.0}, LOW)]), 2)
    assert read(readings, ["A"]) == [*kept, ("A", 1, 2.0, None)]


@pytest.mark.parametrize("is_first", [True, False])
def test_a_commit_given_up_for_lost_cannot_come_any_more(readings: Readings, is_first: bool) -> None:
    if not is_first:
        readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    kept = read(readings, ["A"])
    given_up: list[bool] = []

    def give_up() -> None:
        given_up.append(readings.table.is_in_for_good(2, READINGS_SCHEMA))

    sleeper = Readings(readings.table.address, after_asking(give_up))
    with pytest.raises(CommitFailedError):
        sleeper.table.append(rows([("A", 2, {"current_a": 3.0}, LOW)]), 2)
    assert given_up == [False]
    assert read(readings, ["A"]) == kept
    readings.table.append(rows([("A", 1, {"current_a": 2.0}, LOW)]), 3)
    assert read(readings, ["A"]) == [*kept, ("A", 1, 2.0, None)]
    assert readings.table.is_in_for_good(3, READINGS_SCHEMA)


def test_a_months_rewriting_that_slept_through_an_append_is_refused(readings: Readings) -> None:
    readings.table.append(rows([("A", 0, {"current_a": 1.0}, LOW)]), 1)
    others = rows([("A", 1, {"current_a": 2.0}, LOW)])
    sleeper = Readings(readings.table.address, after_asking(lambda: readings.table.append(others, 2)))
    with pytest.raises(CommitFailedError):
        sleeper.compact("2025-01")
    assert read(readings, ["A"]) == [("A", 0, 1.0, None), ("A", 1, 2.0, None)]


def test_months_cover_a_span() -> None:
    end = microseconds(dt.datetime(2025, 2, 1, tzinfo=dt.UTC))
    assert months_between(end - 1, end) == ["2025-01"]
    assert months_between(end - 1, end + 1) == ["2025-01", "2025-02"]
    with pytest.raises(ValueError, match="without a zone"):
        microseconds(dt.datetime(2025, 1, 1))


def frame(*hours: tuple[str, int, float]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "fan": [fan for fan, _, _ in hours],
            "time": pd.to_datetime([START + dt.timedelta(hours=hour) for _, hour, _ in hours], utc=True),
            "slip": [value for _, _, value in hours],
            "count": np.arange(len(hours)),
            "is_steady": [True] * len(hours),
        }
    )


def hours_of(hours: Hours, *fans: str) -> list[tuple[str, float]]:
    found = hours.read(fans, START, START + dt.timedelta(days=9))
    return list(zip(found["fan"], found["slip"], strict=True))


def test_the_highest_revision_of_an_hour_holds(tmp_path: Path) -> None:
    hours = Hours(str(tmp_path / "hours"))
    assert hours.read(["A"], START, START).empty
    hours.append(frame(("B", 0, 3.0), ("A", 1, 2.0), ("A", 0, 1.0)), 5)
    hours.append(frame(("A", 1, 9.0)), 6)
    assert hours_of(hours, "A", "B") == [("A", 1.0), ("A", 9.0), ("B", 3.0)]
    assert hours_of(hours, "B") == [("B", 3.0)]
    assert hours.latest_revision() == 6
    read = hours.read(["A"], START, START + dt.timedelta(hours=1))
    assert [str(kind) for kind in read.dtypes] == ["str", "datetime64[us, UTC]", "float64", "int64", "bool"]


def test_replacing_takes_new_columns(tmp_path: Path) -> None:
    hours = Hours(str(tmp_path / "hours"))
    hours.append(frame(("A", 0, 1.0)), 1)
    hours.replace(frame(("A", 0, 2.0)).assign(more=1.5), 2)
    hours.append(frame(("A", 0, 3.0)).assign(more=2.5), 3)
    assert hours_of(hours, "A") == [("A", 3.0)]
    assert hours.columns() == ("fan", "time", "slip", "count", "is_steady", "more")
    hours.clear()
    assert hours.columns() == ()


def test_means_are_written_plainly_and_what_sensors_show_in_dictionaries(
    tmp_path: Path, readings: Readings
) -> None:
    hours = Hours(str(tmp_path / "hours"))
    hours.append(frame(("A", 0, 1.0), ("B", 1, 2.0)), 1)
    readings.table.append(rows([("A", 0, {"power_w": 1.0}, LOW)]), 1)
    assert {"fan": True, "slip": False}.items() <= dictionaries(tmp_path / "hours").items()
    assert {"fan": True, "power_w": True}.items() <= dictionaries(tmp_path / "some readings").items()


def dictionaries(folder: Path) -> dict[str, bool]:
    """Return of each column of a table whether its file keeps it in a dictionary."""
    group = pq.read_metadata(next(folder.rglob("*.parquet"))).row_group(0)
    columns = (group.column(place) for place in range(group.num_columns))
    return {column.path_in_schema: column.has_dictionary_page for column in columns}
