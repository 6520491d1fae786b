"""Promise 1: where exports disagree, the rule decides and not the order they were pulled in."""

import itertools
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from service.store.kept import KeptExports

T0, T1, T2, T3 = (f"2025-03-01 00:{minute:02d}" for minute in (0, 15, 30, 45))


def export(**values: float) -> str:
    return "Time,SF1 amps\n" + "".join(f"2025-03-01 00:{at[1:]},{value}\n" for at, value in values.items())


def pulled_one_by_one(plant: Any, files: list[tuple[str, str, float]]) -> list[float]:
    for name, content, modified in files:
        plant.drop(name, content, modified)
        plant.pull()
    return list(plant.cells("SF-1", "current_a").values())


OLD = ("old.csv", export(t00=1.0, t15=2.0), 2000.0)
NEW = ("new.csv", export(t15=3.0, t30=4.0), 1000.0)


@pytest.mark.parametrize("order", list(itertools.permutations((OLD, NEW))))
def test_the_export_with_the_newer_record_wins_though_its_file_is_older(plant: Any, order: Any) -> None:
    assert pulled_one_by_one(plant, list(order)) == [1.0, 3.0, 4.0]
    rows = plant.intake()
    assert rows[["stored", "identical", "superseded"]].to_numpy().tolist() == (
        [[2, 0, 0], [2, 0, 0]] if order[0] is OLD else [[2, 0, 0], [1, 0, 1]]
    )


EARLY = ("early.csv", export(t00=1.0, t15=2.0), 1000.0)
LATE = ("late.csv", export(t00=1.0, t15=3.0), 2000.0)


@pytest.mark.parametrize("order", list(itertools.permutations((EARLY, LATE))))
def test_with_the_same_newest_record_the_later_file_wins(plant: Any, order: Any) -> None:
    assert pulled_one_by_one(plant, list(order)) == [1.0, 3.0]


def test_with_the_same_time_too_the_greater_digest_wins(plants: Callable[[], Any]) -> None:
    import hashlib

    contents = [export(t00=1.0, t15=2.0), export(t00=1.0, t15=3.0)]
    files = [(f"{place}.csv", content, 1000.0) for place, content in enumerate(contents)]
    greater = max(contents, key=lambda content: hashlib.sha256(content.encode()).hexdigest())
    winner = 2.0 if greater is contents[0] else 3.0
    assert pulled_one_by_one(plants(), files) == [1.0, winner]
    assert pulled_one_by_one(plants(), files[::-1]) == [1.0, winner]


def test_both_at_once_is_as_one_by_one(plants: Callable[[], Any]) -> None:
    at_once, one_by_one = plants(), plants()
    for name, content, modified in (OLD, NEW, EARLY):
        at_once.drop(name, content, modified)
    at_once.pull()
    pulled_one_by_one(one_by_one, [NEW, EARLY, OLD])
    pd.testing.assert_frame_equal(at_once.readings(), one_by_one.readings())


# The third outranks the second and agrees with the first: its agreement is not written again, yet it counts.
AGREEING = (
    ("1.csv", export(t00=5.0), 1000.0),
    ("2.csv", export(t00=7.0, t15=1.0), 1000.0),
    ("3.csv", export(t00=5.0, t30=1.0), 1000.0),
)


@pytest.mark.parametrize("order", list(itertools.permutations(AGREEING)))
def test_an_agreeing_export_lends_its_rank_to_the_value(plant: Any, order: Any) -> None:
    assert pulled_one_by_one(plant, list(order))[0] == 5.0


@pytest.mark.parametrize("order", list(itertools.permutations(AGREEING)))
def test_an_agreeing_export_lends_its_rank_across_a_rebuild(plant: Any, order: Any) -> None:
    pulled_one_by_one(plant, list(order))
    plant.pull(again=True)
    assert next(iter(plant.cells("SF-1", "current_a").values())) == 5.0


def test_equal_bytes_with_a_later_time_take_it(plants: Callable[[], Any]) -> None:
    """EARLY, given again later than LATE, has the last word, whichever came first."""
    again = ("again.csv", EARLY[1], 3000.0)
    for order in itertools.permutations((EARLY, LATE, again)):
        assert pulled_one_by_one(plants(), list(order)) == [1.0, 2.0]


def test_a_file_written_anew_with_the_same_bytes_is_not_read_again(plant: Any) -> None:
    plant.drop("a.csv", EARLY[1], 1000.0)
    plant.pull()
    plant.drop("a.csv", EARLY[1], 5000.0)
    report = plant.pull()
    assert (report.files, report.skipped) == ([], 1)


def test_two_rows_of_one_file_at_one_time_the_later_row_wins(plant: Any) -> None:
    plant.drop("a.csv", f"Time,SF1 amps\n{T0},1\n{T1},2\n{T1},2\n{T1},3\n{T1},3\n")
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [1.0, 3.0]
    row = plant.intake().iloc[0]
    assert row[["rows_read", "stored", "identical", "superseded"]].tolist() == [5, 2, 1, 2]


def test_two_columns_of_one_name_are_one_point(plant: Any) -> None:
    plant.drop("a.csv", f"Time,SF1 amps,SF1 amps\n{T0},1,1\n{T1},2,3\n")
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [1.0, 3.0]
    row = plant.intake().iloc[0]
    assert row[["rows_read", "stored", "identical", "superseded"]].tolist() == [4, 2, 1, 1]


def test_the_points_of_one_fan_in_files_of_their_own_make_one_row_a_time(plant: Any) -> None:
    plant.drop("SF1 amps.csv", f"Time,Value\n{T0},1\n{T1},2\n", 3000.0)
    plant.drop("SF1 speed.csv", f"Time,Value\n{T1},50\n{T2},60\n", 1000.0)
    plant.drop("SF1 dp.csv", f"Time,Value\n{T0},250\n{T3},260\n", 2000.0)
    plant.pull()
    readings = plant.readings()
    assert len(readings) == 4
    assert readings["current_a"].tolist()[:2] == [1.0, 2.0]
    assert readings["speed_fraction"].tolist()[1:3] == [0.5, 0.6]
    assert readings["pressure_pa"].tolist()[::3] == [250.0, 260.0]


def test_values_that_lost_are_kept_in_their_export(plant: Any) -> None:
    from config import load_site
    from service.store import open_store

    pulled_one_by_one(plant, [NEW, OLD])
    with open_store(load_site(plant.folder)) as store:
        kept = {store.kept.read(export.sha256).decode() for export in store.catalogue.exports()}
    assert kept == {OLD[1], NEW[1]}


LAST, NEXT = "2025-03-31 23:45", "2025-04-01 00:00"  # either side of the end of a month


@pytest.mark.parametrize("is_at_once", [True, False])
def test_what_holds_is_decided_alike_on_either_side_of_a_months_end(plant: Any, is_at_once: bool) -> None:
    plant.drop("1.csv", f"Time,SF1 amps\n{LAST},1\n{NEXT},1\n", 1000.0)
    if not is_at_once:
        plant.pull()
    plant.drop("2.csv", f"Time,SF1 amps\n{LAST},2\n{NEXT},2\n2025-04-01 00:15,2\n", 1000.0)
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [2.0, 2.0, 2.0]


def test_a_day_of_the_plant_in_two_months_of_utc_is_touched_once(plant: Any) -> None:
    plant.declare(zone="America/New_York")
    plant.drop("a.csv", "Time,SF1 amps\n2025-03-31 12:00,1\n2025-03-31 23:00,2\n")
    plant.pull()
    assert plant.ledger("select fan, date from touched_days") == [("SF-1", "2025-03-31")]


def test_a_conflict_reads_again_no_export_of_other_points(plant: Any, monkeypatch: Any) -> None:
    """Of thousands of files of one point each, all later than the newcomer, none can speak of its point."""
    pulled_one_by_one(plant, [("old.csv", export(t00=1.0, t15=1.0), 1000.0)])
    for point in ("SF1 flow", "SF1 dp", "EF1 amps"):
        plant.drop(f"{point}.csv", f"Time,Value\n{T0},5\n{T3},5\n", 1000.0)
    plant.pull()
    read: list[str] = []
    of_old = KeptExports.read

    def noting(kept: KeptExports, sha256: str) -> bytes:
        read.append(sha256)
        return of_old(kept, sha256)

    monkeypatch.setattr(KeptExports, "read", noting)
    plant.drop("new.csv", export(t00=2.0, t30=2.0), 1000.0)
    plant.pull()
    assert read == []
    assert list(plant.cells("SF-1", "current_a").values()) == [2.0, 1.0, 2.0]


def test_values_that_lost_are_read_again_where_times_of_files_put_them_first(plant: Any) -> None:
    """A copy of all files sets their times anew: what stands otherwise then is read, and nothing else."""
    pulled_one_by_one(plant, [EARLY, LATE, ("other.csv", "Time,SF1 dp\n2025-02-01 00:00,5\n", 1000.0)])
    for name, content, modified in (EARLY, LATE):
        plant.drop(name, content, 9000.0 - modified)
    plant.drop("other.csv", "Time,SF1 dp\n2025-02-01 00:00,5\n", 9000.0)
    report = plant.pull()
    assert [row.file for row in report.files] == ["early.csv"]
    assert list(plant.cells("SF-1", "current_a").values()) == [1.0, 2.0]


def test_a_copy_with_a_later_time_is_the_row_that_its_pull_writes(plant: Any) -> None:
    """The values are those of the first file; what was offered, and turned the conflict, is its copy."""
    for place, (name, value) in enumerate((("a.csv", 1.0), ("b.csv", 2.0), ("c.csv", 1.0))):
        plant.drop(name, export(t00=value), 1000.0 + 10.0 * place)
        report = plant.pull()
        assert (len(report.files), report.skipped) == (1, place if place < 2 else 2)
    assert plant.cells("SF-1", "current_a") == {"2025-03-01T00:00:00Z": 1.0}
    rows = plant.intake()
    assert rows["file"].tolist() == ["a.csv", "b.csv", "c.csv"]
    assert rows[["rows_read", "stored", "identical", "superseded"]].to_numpy().tolist() == [
        [1, 1, 0, 0],
        [1, 1, 0, 0],
        [1, 1, 0, 0],
    ]


def test_a_copy_in_another_folder_is_named_by_its_path(plant: Any) -> None:
    plant.declare(source='files = "**/*.csv"')
    for place, (name, value) in enumerate((("a.csv", 1.0), ("b.csv", 2.0), ("again/a.csv", 1.0))):
        plant.drop(name, export(t00=value), 1000.0 + 10.0 * place)
        plant.pull()
    assert plant.intake()["file"].tolist() == ["a.csv", "b.csv", "again/a.csv"]


def test_a_file_that_a_later_time_raises_keeps_its_own_name(plant: Any) -> None:
    for name, value, modified in (("a.csv", 1.0, 1000.0), ("b.csv", 2.0, 1010.0), ("a.csv", 1.0, 1020.0)):
        plant.drop(name, export(t00=value), modified)
        plant.pull()
    assert plant.intake()["file"].tolist() == ["a.csv", "b.csv", "a.csv"]
