"""From files to readings: planted values come back, and every cell is accounted for."""

import datetime as dt
import itertools
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from config import load_site
from service.intake import readings_by_fan
from service.store import open_store

WIDE = """Time,SF1 speed,SF1 amps,EF1 speed,Lobby temp
2025-03-01 00:00,50,10.5,80,21.0
2025-03-01 00:15,60,11.5,,21.5
2025-03-01 00:30,n/a,12.5,82,21.25
"""


def counts(row: Any) -> dict[str, int]:
    names = ("rows_read", "stored", "identical", "superseded", "refused", "missing", "unmapped")
    return {name: int(row[name]) for name in names}


def assert_balanced(intake: pd.DataFrame) -> None:
    outcome = intake[["stored", "identical", "superseded", "refused"]].sum(axis=1)
    assert (intake["rows_read"] == outcome).all()


def test_a_wide_file_gives_its_values_in_si(plant: Any) -> None:
    plant.drop("a.csv", WIDE)
    report = plant.pull()
    assert [(file.file, file.stored, file.cells) for file in report.files] == [("a.csv", 7, 12)]
    readings = plant.readings()
    assert list(readings.columns[:9]) == [
        "fan",
        "time_utc",
        "speed_fraction",
        "current_a",
        "power_kw",
        "airflow_m3s",
        "pressure_pa",
        "air_temperature_c",
        "running",
    ]
    assert readings["fan"].tolist() == ["EF-1", "EF-1", "SF-1", "SF-1", "SF-1"]
    assert plant.cells("SF-1", "speed_fraction") == {"2025-03-01T00:00:00Z": 0.5, "2025-03-01T00:15:00Z": 0.6}
    assert plant.cells("SF-1", "current_a")["2025-03-01T00:30:00Z"] == 12.5
    row = plant.intake().iloc[0]
    assert counts(row) == {
        "rows_read": 7,
        "stored": 7,
        "identical": 0,
        "superseded": 0,
        "refused": 0,
        "missing": 2,
        "unmapped": 3,
    }
    assert row["decided"] == "wide, comma, ISO 8601, instants"
    assert row["pulled_at"] == "2025-07-01T06:00:00Z"


def test_a_long_file_gives_the_same_as_a_wide_one(plants: Callable[[], Any]) -> None:
    wide, long = plants(), plants()
    wide.drop("a.csv", WIDE)
    long.drop(
        "a.csv",
        "Timestamp,Point,Value\n"
        "2025-03-01 00:00,SF1 speed,50\n2025-03-01 00:00,SF1 amps,10.5\n2025-03-01 00:00,EF1 speed,80\n"
        "2025-03-01 00:15,SF1 speed,60\n2025-03-01 00:15,SF1 amps,11.5\n2025-03-01 00:15,EF1 speed,\n"
        "2025-03-01 00:30,SF1 speed,n/a\n2025-03-01 00:30,SF1 amps,12.5\n2025-03-01 00:30,EF1 speed,82\n"
        "2025-03-01 00:30,Lobby temp,21.25\n",
    )
    wide.pull()
    long.pull()
    pd.testing.assert_frame_equal(long.readings(), wide.readings())
    row = long.intake().iloc[0]
    assert counts(row)["rows_read"] == 7
    assert counts(row)["missing"] == 2
    assert counts(row)["unmapped"] == 1
    assert row["decided"].startswith("long, comma")


@pytest.mark.parametrize(
    ("file", "header"),
    [("SF1 amps.csv", "Value"), ("export 7.csv", "SF1 amps"), ("SF1 amps.csv", "Amps (A)")],
)
def test_a_single_file_takes_its_point_from_the_header_or_its_name(
    plant: Any, file: str, header: str
) -> None:
    plant.drop(file, f"Time,{header}\n2025-03-01 00:00,10.5\n2025-03-01 00:15,11.5\n")
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [10.5, 11.5]
    assert plant.intake().iloc[0]["decided"].startswith("single")


def test_equal_bytes_under_two_names_are_two_points_where_the_name_is_the_point(plant: Any) -> None:
    text = "Time,Value\n2025-03-01 00:00,0\n2025-03-01 00:15,0\n"
    plant.drop("SF1 amps.csv", text)
    plant.drop("EF1 amps.csv", text)
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [0, 0]
    assert list(plant.cells("EF-1", "current_a").values()) == [0, 0]


def test_equal_bytes_under_two_names_are_one_export_where_the_header_names_the_points(plant: Any) -> None:
    plant.drop("a.csv", WIDE)
    plant.drop("copy of a.csv", WIDE)
    report = plant.pull()
    assert (len(report.files), report.skipped) == (1, 1)


def test_a_file_known_already_is_skipped_and_writes_no_row(plant: Any) -> None:
    plant.drop("a.csv", WIDE)
    plant.pull()
    before = plant.readings()
    report = plant.pull()
    assert (report.files, report.skipped, report.pass_ids) == ([], 1, [])
    assert len(plant.intake()) == 1
    pd.testing.assert_frame_equal(plant.readings(), before)


def test_an_empty_drop_is_no_fault(plant: Any) -> None:
    report = plant.pull()
    assert (report.files, report.problems) == ([], [])
    assert plant.readings().empty
    assert plant.intake().empty


def test_a_source_that_is_not_there_is_said_and_the_rest_goes_on(plant: Any) -> None:
    plant.declare(source='[[sources]]\nname = "gone"\nurl = "no such folder"\n')
    plant.drop("a.csv", WIDE)
    report = plant.pull()
    assert len(report.files) == 1
    assert len(report.problems) == 1
    assert "source gone (no such folder)" in report.problems[0]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not text"),
        (b"\x1f\x8b\x08\x00broken", "gzip"),
        (b"hello\nworld\n", "every line is one cell"),
        (b"a,b\n1,2\n3,4\n", "no column of times"),
    ],
)
def test_an_unreadable_file_has_zeros_and_its_reason(plant: Any, content: bytes, reason: str) -> None:
    plant.drop("bad.csv", content)
    plant.drop("good.csv", WIDE)
    plant.pull()
    rows = plant.intake().set_index("file")
    assert set(counts(rows.loc["bad.csv"]).values()) == {0}
    assert reason in rows.loc["bad.csv", "decided"]
    assert counts(rows.loc["good.csv"])["stored"] == 7
    assert plant.pull().skipped == 2


def test_text_in_a_number_column_is_refused_with_its_place(plant: Any) -> None:
    plant.drop("a.csv", WIDE.replace("11.5", "eleven").replace("12.5", "1e999"))
    plant.pull()
    assert plant.refusals() == [
        (3, "SF1 amps", "eleven", "not a number", 1),
        (4, "SF1 amps", "1e999", "not a number", 1),
    ]
    row = plant.intake().iloc[0]
    assert (row["refused"], row["stored"]) == (2, 5)
    assert_balanced(plant.intake())


def test_a_time_that_cannot_be_read_takes_its_values_along(plant: Any) -> None:
    plant.drop("a.csv", WIDE.replace("2025-03-01 00:15", "later"))
    plant.pull()
    assert plant.refusals() == [(3, "Time", "later", "not a time", 2)]
    row = plant.intake().iloc[0]
    assert (row["refused"], row["stored"], row["missing"], row["unmapped"]) == (2, 5, 2, 3)


@pytest.mark.parametrize("end", ["", "\n", "\r\n", "\n\n\n"])
def test_the_way_a_file_ends_does_not_matter(plant: Any, end: str) -> None:
    plant.drop("a.csv", WIDE.rstrip("\n") + end)
    plant.pull()
    assert plant.intake().iloc[0]["stored"] == 7


@pytest.mark.parametrize("cut", range(1, 40, 5))
def test_a_half_written_file_loses_and_corrupts_nothing(plants: Callable[[], Any], cut: int) -> None:
    whole, grown = plants(), plants()
    whole.drop("a.csv", WIDE)
    whole.pull()
    grown.drop("a.csv", WIDE[:-cut], modified=1_740_000_000)
    grown.pull()
    grown.drop("a.csv", WIDE, modified=1_740_000_060)
    grown.pull()
    pd.testing.assert_frame_equal(grown.readings(), whole.readings())
    assert_balanced(grown.intake())


def test_a_row_cut_short_refuses_only_the_cell_at_the_cut(plant: Any) -> None:
    plant.drop("a.csv", WIDE[: WIDE.index(".5,82")])  # ends in "n/a,12"
    plant.pull()
    assert plant.cells("SF-1", "current_a") == {"2025-03-01T00:00:00Z": 10.5, "2025-03-01T00:15:00Z": 11.5}
    assert plant.refusals() == [
        (4, "SF1 amps", "12", "the file ends within this line: it was not whole yet", 1)
    ]


def test_a_stray_nul_costs_its_own_cell_and_a_tail_of_them_nothing(plant: Any) -> None:
    plant.drop("a.csv", WIDE.replace("11.5", "1\0.5") + "\0" * 4096)
    plant.pull()
    assert plant.refusals() == [(3, "SF1 amps", "1 .5", "not a number", 1)]
    assert plant.intake().iloc[0]["stored"] == 6


def test_a_fraction_of_a_second_is_written_where_it_is(plant: Any) -> None:
    plant.drop(
        "a.csv", "Time,SF1 amps\n2025-03-01 00:00:00,1\n2025-03-01 00:15:00.25,2\n2025-03-01 00:30:00,3\n"
    )
    plant.pull()
    assert plant.readings()["time_utc"].tolist() == [
        "2025-03-01T00:00:00Z",
        "2025-03-01T00:15:00.250000Z",
        "2025-03-01T00:30:00Z",
    ]


def test_an_end_and_an_instant_of_one_stamp_are_two_rows(plant: Any) -> None:
    """They are two readings, and each row keeps a time of its own; a lone end has the stamp it was given."""
    other = '[[sources]]\nname = "means"\nurl = "means"\nlabel = "end"\n'
    plant.declare(units=other)
    plant.drop("a.csv", "Time,SF1 amps\n2025-03-01 00:00,1\n")
    plant.drop("../means/b.csv", "Time,SF1 amps\n2025-03-01 00:00,2\n2025-03-01 01:00,3\n")
    plant.pull()
    assert plant.cells("SF-1", "current_a") == {
        "2025-02-28T23:59:59.999999Z": 2.0,
        "2025-03-01T00:00:00Z": 1.0,
        "2025-03-01T01:00:00Z": 3.0,
    }


def test_windows_of_stamps_hold_each_row_once(plant: Any) -> None:
    other = '[[sources]]\nname = "means"\nurl = "means"\nlabel = "end"\n'
    plant.declare(units=other)
    plant.drop("a.csv", "Time,SF1 amps\n2025-03-01 01:00,1\n")
    plant.drop(
        "../means/b.csv", "Time,SF1 amps\n2025-03-01 01:00,2\n2025-03-01 02:00,3\n2025-03-01 03:00,4\n"
    )
    plant.pull()
    hours = [dt.datetime(2025, 3, 1, hour, tzinfo=dt.UTC) for hour in range(5)]
    found = []
    site = load_site(plant.folder)
    with open_store(site) as store:
        for window in itertools.pairwise(hours):
            rows = pd.concat(readings_by_fan(site, store, "SF-1", window))
            found.append(dict(zip(rows["time_utc"].str[11:], rows["current_a"], strict=True)))
    assert found == [{"00:59:59.999999Z": 2.0}, {"01:00:00Z": 1.0}, {"02:00:00Z": 3.0}, {"03:00:00Z": 4.0}]


def test_a_label_is_told_and_moves_no_stamp(plants: Callable[[], Any]) -> None:
    instants, labelled = plants(), plants()
    labelled.declare(source='label = "end"')
    for each in (instants, labelled):
        each.drop("a.csv", WIDE)
        each.pull()
    assert "label end" in labelled.intake().iloc[0]["decided"]
    pd.testing.assert_frame_equal(labelled.readings(), instants.readings())


def test_a_line_with_too_many_cells_is_refused_whole(plant: Any) -> None:
    plant.drop("a.csv", WIDE.replace("60,11.5,,21.5", "1,060,11.5,,21.5"))
    plant.pull()
    ((row, column, value, reason, cells),) = plant.refusals()
    assert (row, column, cells) == (3, "Time", 3)
    assert value == "2025-03-01 00:15,1,060,11.5,,21.5"
    assert reason == "the line has 6 cells, the header 5"
    assert_balanced(plant.intake())


def test_blank_lines_are_no_rows_and_keep_the_line_numbers_right(plant: Any) -> None:
    plant.drop("a.csv", WIDE.replace("2025-03-01 00:30", "\n2025-03-01 00:30").replace("12.5", "x"))
    plant.pull()
    assert plant.refusals() == [(5, "SF1 amps", "x", "not a number", 1)]
    assert plant.intake().iloc[0]["rows_read"] == 7


def test_words_for_no_value_are_missing_whatever_their_case(plant: Any) -> None:
    words = ["", "nan", "NaN", "NULL", "None", "N/A", "---", "No Data", "BAD", "fault", "Error", " - "]
    lines = "".join(f"2025-03-01 00:{minute:02d},{word}\n" for minute, word in enumerate(words))
    plant.drop("a.csv", f"Time,SF1 amps\n{lines}2025-03-01 01:00,5\n")
    plant.pull()
    row = plant.intake().iloc[0]
    assert (row["missing"], row["rows_read"], row["refused"]) == (len(words), 1, 0)


def test_words_for_on_and_off_are_one_and_zero_in_a_status_alone(plant: Any) -> None:
    plant.declare(fans="fan,drive,motor_kw,speed_point,run_status_point\nSF-1,direct,11,SF1 speed,SF1 run\n")
    words = ["On", "OFF", "true", "False", "RUN", "stopped", "1", "0", "1.0", "Running"]
    lines = "".join(f"2025-03-01 00:{minute:02d},{word},{word}\n" for minute, word in enumerate(words))
    plant.drop("a.csv", f"Time,SF1 run,SF1 speed\n{lines}")
    plant.pull()
    assert list(plant.cells("SF-1", "run_status").values()) == [1, 0, 1, 0, 1, 0, 1, 0, 1, 1]
    assert list(plant.cells("SF-1", "speed_fraction").values()) == [0.01, 0.0, 0.01]
    assert plant.intake().iloc[0]["refused"] == 7


@pytest.mark.parametrize(
    "rewritten",
    [
        WIDE.replace(",", ";"),
        WIDE.replace(",", "\t"),
        WIDE.replace(",", ";").replace("10.5", "10,5").replace("11.5", "11,5").replace("12.5", "12,5"),
        WIDE.replace("\n", "\r\n"),
        WIDE.replace("\n", "\r"),
        "\ufeff" + WIDE,
        WIDE.replace("SF1 amps", '"SF1 amps"').replace("10.5", '"10.5"'),
        WIDE.replace(",", ", "),
    ],
)
def test_other_hands_write_the_same_table(plants: Callable[[], Any], rewritten: str) -> None:
    plain, other = plants(), plants()
    plain.drop("a.csv", WIDE)
    other.drop("a.csv", rewritten)
    plain.pull()
    other.pull()
    pd.testing.assert_frame_equal(other.readings(), plain.readings())
    assert counts(other.intake().iloc[0]) == counts(plain.intake().iloc[0])


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_other_encodings_are_read(plant: Any, encoding: str) -> None:
    plant.declare(fans="fan,drive,motor_kw,speed_point,current_point\nSF-1,direct,11,Lüfter °,A\n")
    plant.drop("a.csv", "Time,Lüfter °\n2025-03-01 00:00,50\n".encode(encoding))
    plant.pull()
    assert list(plant.cells("SF-1", "speed_fraction").values()) == [0.5]


def test_a_gzip_file_is_read_like_the_plain_one(plant: Any) -> None:
    import gzip

    plant.declare(source='files = "*.csv.gz"')
    plant.drop("a.csv.gz", gzip.compress(WIDE.encode()))
    plant.pull()
    assert plant.intake().iloc[0]["stored"] == 7


def test_a_point_of_two_fans_counts_once(plant: Any) -> None:
    fans = "fan,drive,motor_kw,speed_point,pressure_point\nA,direct,11,A speed,dp\nB,direct,11,B speed,dp\n"
    plant.declare(fans=fans)
    plant.drop("a.csv", "Time,A speed,B speed,dp\n2025-03-01 00:00,50,60,250\n2025-03-01 00:15,50,60,251\n")
    plant.pull()
    assert counts(plant.intake().iloc[0])["stored"] == 6
    assert plant.cells("A", "pressure_pa") == plant.cells("B", "pressure_pa")


def test_a_point_counts_as_unmapped_before_its_fans_first_epoch(plant: Any) -> None:
    plant.declare(
        zone="America/Denver",
        fans="fan,from,drive,motor_kw,speed_point,current_point\n"
        "A,2025-03-01,direct,11,A speed,A amps\nA,2025-03-02,direct,11,A speed,A amps 2\n",
    )
    plant.drop(
        "a.csv",
        "Time,A speed,A amps,A amps 2\n2025-02-28 23:45,50,1,2\n2025-03-01 00:00,50,1,2\n"
        "2025-03-01 23:45,50,1,2\n2025-03-02 00:00,50,1,2\n",
    )
    plant.pull()
    assert plant.cells("A", "current_a") == {
        "2025-03-01T07:00:00Z": 1,
        "2025-03-02T06:45:00Z": 1,
        "2025-03-02T07:00:00Z": 2,
    }
    row = counts(plant.intake().iloc[0])
    assert (row["stored"], row["unmapped"]) == (6, 6)


def test_the_sites_own_points_are_kept_beside_the_fans(plant: Any) -> None:
    plant.declare(extra='outdoor_temperature_point = "OAT"\nbarometric_pressure_point = "Baro"')
    plant.drop("a.csv", "Time,OAT,Baro,SF1 amps\n2025-03-01 00:00,4.5,101300,10\n")
    plant.pull()
    with open_store(load_site(plant.folder)) as store:
        span = store.reading_span()
        assert span is not None
        site = store.read_readings([""], span[0], span[1].replace(minute=1))
    assert site[["outdoor_temperature_c", "barometric_pressure_pa"]].to_numpy().tolist() == [[4.5, 101300.0]]
    assert plant.readings()["fan"].tolist() == ["SF-1"]


def test_a_file_that_grows_while_it_is_read_waits(plant: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from fsspec.implementations.local import LocalFileSystem

    path = plant.drop("a.csv", WIDE)
    read = LocalFileSystem.cat_file

    def growing(self: Any, *args: Any, **kwargs: Any) -> Any:
        content = read(self, *args, **kwargs)
        with path.open("a") as file:
            file.write("2025-03-01 00:45,50,10,80,21\n")
        return content

    monkeypatch.setattr(LocalFileSystem, "cat_file", growing)
    report = plant.pull()
    assert (report.files, len(report.waiting)) == ([], 1)
    monkeypatch.undo()
    assert plant.pull().files[0].stored == 10


@pytest.mark.parametrize(
    "pair", ["Date,Time\n{d},{t}", "Time,Date\n{t},{d}"], ids=["date first", "time first"]
)
@pytest.mark.parametrize(("date", "clock"), [("2025-03-01", "13:15"), ("3/31/2025", "1:15 PM")])
def test_date_and_time_in_two_columns_are_one_time(plant: Any, pair: str, date: str, clock: str) -> None:
    header, row = pair.format(d=date, t=clock).split("\n")
    plant.drop("a.csv", f"{header},SF1 amps,EF1 amps\n{row},1,2\n")
    plant.pull()
    ((time, amps),) = plant.cells("SF-1", "current_a").items()
    assert (time[10:], amps) == ("T13:15:00Z", 1.0)
    row = plant.intake().iloc[0]
    assert (row["stored"], row["unmapped"]) == (2, 0)
    assert "two columns" in row["decided"]


def test_a_long_file_may_carry_more_columns(plant: Any) -> None:
    plant.drop(
        "a.csv",
        "Point Name,Timestamp,Value,Quality\nSF1 amps,2025-03-01 00:00,10.5,good\n"
        "SF1 amps ,2025-03-01 00:15,11.5,good\nOther,2025-03-01 00:15,7,good\n",
    )
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [10.5, 11.5]
    assert plant.intake().iloc[0][["stored", "unmapped"]].tolist() == [2, 1]


def test_files_in_folders_are_found_where_the_pattern_says_so(plant: Any) -> None:
    plant.declare(source='files = "**/*.csv"')
    plant.drop("2025/a.csv", WIDE)
    plant.drop("b.CSV", WIDE.replace("03-01", "03-02"))
    plant.drop(".hidden.csv", WIDE.replace("03-01", "03-03"))
    plant.pull()
    assert sorted(plant.intake()["file"]) == ["2025/a.csv", "b.CSV"]
    assert plant.pull().skipped == 2


def test_a_source_may_be_any_place_that_fsspec_reaches(plant: Any) -> None:
    import fsspec

    files = fsspec.filesystem("memory")
    files.pipe("/exports of a plant/a.csv", WIDE.encode())
    site = plant.folder / "site.toml"
    site.write_text(site.read_text().replace('"drop"', '"memory://exports of a plant"'))
    plant.pull()
    assert plant.intake()["stored"].tolist() == [7]
