"""What the text of a time cell says."""

from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from service.intake.times import Refusal, read_times


def read(*texts: str, time_format: str | None = None) -> tuple[list[Any], str]:
    found = read_times(pa.chunked_array([list(texts)], type=pa.string()), time_format)
    cells = [
        str(np.datetime64(int(time), "us").astype("datetime64[ms]"))
        if refusal == Refusal.NONE
        else Refusal(refusal)
        for time, refusal in zip(found.times_us[found.place], found.refusal[found.place], strict=True)
    ]
    return cells, found.decided


@pytest.mark.parametrize(
    ("text", "meant", "decided"),
    [
        ("2025-02-24 13:15", "2025-02-24T13:15:00.000", "ISO 8601"),
        ("2025-02-24T13:15:30.250", "2025-02-24T13:15:30.250", "ISO 8601"),
        ("2025-02-24T13:15:00Z", "2025-02-24T13:15:00.000", "ISO 8601 with offset"),
        ("2025-02-24T13:15:00+02:00", "2025-02-24T11:15:00.000", "ISO 8601 with offset"),
        ("2025-02-24 13:15 +0530", "2025-02-24T07:45:00.000", "with offset, year first"),
        ("24/02/2025 13:15", "2025-02-24T13:15:00.000", "day first"),
        ("24.2.25 9:05", "2025-02-24T09:05:00.000", "day first"),
        ("2/24/2025 1:15 PM", "2025-02-24T13:15:00.000", "12-hour clock, month first"),
        ("2/24/2025 12:15:07 am", "2025-02-24T00:15:07.000", "12-hour clock, month first"),
        ("2025/2/24 13:15", "2025-02-24T13:15:00.000", "year first"),
        ("24-Feb-2025 13:15:00", "2025-02-24T13:15:00.000", "month by name"),
        ("February 24, 2025 1:15 p.m.", "2025-02-24T13:15:00.000", "12-hour clock, month by name"),
        ("Mon, 24 Feb 2025 13:15:00 GMT", "2025-02-24T13:15:00.000", "month by name, with offset"),
        ("24/02/2025 24:00", "2025-02-25T00:00:00.000", "day first"),
        ("29/02/2024 00:00", "2024-02-29T00:00:00.000", "day first"),
    ],
)
def test_a_time_is_read_however_it_is_written(text: str, meant: str, decided: str) -> None:
    assert read(text) == ([meant], decided)


@pytest.mark.parametrize(
    ("text", "refusal"),
    [
        ("", Refusal.BLANK),
        ("soon", Refusal.NO_TIME),
        ("13:15", Refusal.NO_TIME),
        ("31/02/2025 00:00", Refusal.NO_SUCH_DATE),
        ("29/02/2025 00:00", Refusal.NO_SUCH_DATE),
        ("24/13/2025 00:00", Refusal.NO_SUCH_DATE),
        ("24/02/2025 25:00", Refusal.NO_SUCH_DATE),
        ("24/02/2025 24:15", Refusal.NO_SUCH_DATE),
        ("24/02/2025 13:15 PM", Refusal.NO_SUCH_DATE),
        ("24/02/2025 12:60", Refusal.NO_SUCH_DATE),
        ("24-Foo-2025 12:00", Refusal.NO_SUCH_DATE),
        ("2425-02-24 12:00", Refusal.NO_SUCH_DATE),
    ],
)
def test_what_is_no_time_is_refused(text: str, refusal: Refusal) -> None:
    assert read(text)[0] == [refusal]


def test_one_date_tells_day_and_month_apart_for_the_whole_file() -> None:
    assert read("01/02/2025 00:00", "13/02/2025 00:00")[0][0].startswith("2025-02-01")
    assert read("01/02/2025 00:00", "02/13/2025 00:00")[0][0].startswith("2025-01-02")


def test_a_file_that_does_not_say_is_ambiguous() -> None:
    cells, decided = read("01/02/2025 00:00", "03/04/2025 00:00", "05/05/2025 00:00")
    assert cells == [Refusal.AMBIGUOUS, Refusal.AMBIGUOUS, "2025-05-05T00:00:00.000"]
    assert decided == "day or month first: not told"
    assert "ambiguous" in Refusal.AMBIGUOUS.reason
    assert "write its time_format" in Refusal.AMBIGUOUS.reason
    cells, _ = read("01/02/2025 00:00", "03/04/2025 00:00", time_format="%d/%m/%Y %H:%M")
    assert [cell[:10] for cell in cells] == ["2025-02-01", "2025-04-03"]


def test_a_file_that_says_both_keeps_what_has_one_reading() -> None:
    cells, decided = read("01/02/2025", "13/02/2025", "02/13/2025")
    assert cells == [Refusal.AMBIGUOUS, "2025-02-13T00:00:00.000", "2025-02-13T00:00:00.000"]
    assert decided == "day first and month first mixed"


def test_a_format_given_is_the_only_one() -> None:
    cells, decided = read("250224 1315", "2025-02-24 13:15", "", time_format="%y%m%d %H%M")
    assert cells == ["2025-02-24T13:15:00.000", Refusal.NO_TIME, Refusal.BLANK]
    assert decided == "time format %y%m%d %H%M"
    assert read("01/02/2025 13:15 +0200", time_format="%d/%m/%Y %H:%M %z")[0] == ["2025-02-01T11:15:00.000"]
