"""Wall clocks and instants on both days that clocks change.

The instants of the changes are those of the IANA time zone database, which `zoneinfo` reads: the changes of
2025 in America/Denver (9 March and 2 November, 02:00), Europe/Dublin (30 March and 26 October, 01:00 UTC)
and Australia/Lord_Howe (half an hour, 6 April and 5 October).
"""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.intake.zones import FIRST, SECOND, UNKNOWN, Clock, passings

ZONES = (
    "America/Denver",
    "Europe/Dublin",
    "Australia/Lord_Howe",
    "Asia/Kolkata",
    "America/Santiago",
    "Africa/Casablanca",
    "UTC",
)


def wall(*texts: str) -> Any:
    return np.array(texts, dtype="datetime64[us]").astype(np.int64)


@given(st.sampled_from(ZONES), st.datetimes(dt.datetime(1975, 1, 1), dt.datetime(2037, 1, 1)))
def test_instants_agree_with_the_zone_database(zone: str, time: dt.datetime) -> None:
    """zoneinfo's own folds are the reference."""
    time = time.replace(microsecond=0)
    found = Clock(ZoneInfo(zone)).instants(np.array([time], dtype="datetime64[us]").astype(np.int64))
    first, second = (time.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(dt.UTC) for fold in (0, 1))
    exists = first.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == time
    assert bool(found.is_skipped[0]) == (not exists)
    if exists:
        assert bool(found.is_repeated[0]) == (first != second)
        micro = dt.timedelta(microseconds=1)
        epoch = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
        assert int(found.first[0]) == (first - epoch) // micro
        assert int(found.second[0]) == (second - epoch) // micro


@given(st.sampled_from(ZONES), st.datetimes(dt.datetime(1975, 1, 1), dt.datetime(2037, 1, 1)))
def test_dates_agree_with_the_zone_database(zone: str, time: dt.datetime) -> None:
    dates = Clock(ZoneInfo(zone)).dates(np.array([time], dtype="datetime64[us]").astype(np.int64))
    assert dates[0].item() == time.replace(tzinfo=dt.UTC).astimezone(ZoneInfo(zone)).date()


def test_midnight_begins_a_date() -> None:
    denver = Clock(ZoneInfo("America/Denver"))
    assert denver.midnight_us(dt.date(2025, 3, 9)) == int(wall("2025-03-09T07:00")[0])
    assert denver.midnight_us(dt.date(2025, 3, 10)) == int(wall("2025-03-10T06:00")[0])


HOUR = [f"2025-11-02T01:{minute}" for minute in ("00", "15", "30", "45")]
BEFORE = ["2025-11-02T00:30", "2025-11-02T00:45"]
AFTER = ["2025-11-02T02:00", "2025-11-02T02:15"]
MORE = [f"2025-11-02T{hour:02d}:{minute}" for hour in range(3, 13) for minute in ("00", "15", "30", "45")]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (BEFORE + HOUR + HOUR + AFTER, [FIRST] * 4 + [SECOND] * 4),
        ((BEFORE + HOUR + HOUR + AFTER)[::-1], [SECOND] * 4 + [FIRST] * 4),
        (HOUR + HOUR, [FIRST] * 4 + [SECOND] * 4),
        (HOUR[2:] + HOUR[:2], [FIRST] * 2 + [SECOND] * 2),
        (BEFORE + HOUR, [FIRST] * 4),  # the file ends within the hour
        (HOUR[1:] + AFTER, [SECOND] * 3),  # and the next begins within it
        (BEFORE + HOUR + AFTER, [UNKNOWN] * 4),  # one passing was never written, nobody can tell which
        (HOUR, [UNKNOWN] * 4),
        (["2025-11-02T01:30"], [UNKNOWN]),
        (["2025-11-02T01:30", "2025-11-02T12:00"], [UNKNOWN]),  # a lone step would prove itself
        (["2025-11-02T00:45", "2025-11-02T01:00"], [UNKNOWN]),
        (["2025-11-01T09:30", "2025-11-01T17:30", "2025-11-02T01:30"], [UNKNOWN]),  # eight hours apart
        (["2025-11-01T23:00", "2025-11-02T00:00", "2025-11-02T01:00"], [FIRST]),
        (["2025-11-02T01:00", "2025-11-02T02:00", "2025-11-02T03:00"], [SECOND]),
        (BEFORE + HOUR + HOUR + HOUR + AFTER, [UNKNOWN] * 12),
        (AFTER + HOUR + HOUR + BEFORE, [UNKNOWN] * 8),
        (BEFORE + HOUR[:2] + MORE + HOUR[2:], [UNKNOWN] * 4),
    ],
)
def test_the_order_of_the_rows_tells_the_passings_apart(rows: list[str], expected: list[int]) -> None:
    times = wall(*rows)
    is_repeated = np.array([row[:13] == HOUR[0][:13] for row in rows])
    found = passings(times, is_repeated)
    assert found[is_repeated].tolist() == expected
    assert (found[~is_repeated] == FIRST).all()


def day(zone: str, date: str) -> pd.DatetimeIndex:
    return pd.date_range(date, periods=100, freq="15min", tz="UTC").tz_convert(zone)


@pytest.mark.parametrize("layout", ["wide", "long", "single"])
@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("America/Denver", "2025-11-02 00:00"),
        ("America/Denver", "2025-03-09 00:00"),
        ("Europe/Dublin", "2025-10-25 12:00"),
        ("Australia/Lord_Howe", "2025-04-05 06:00"),
    ],
)
def test_a_day_of_wall_clock_readings_comes_back_whole(
    plant: Any, zone: str, start: str, layout: str
) -> None:
    plant.declare(zone=zone)
    times = day(zone, start)
    walls = times.strftime("%Y-%m-%d %H:%M")
    if layout == "long":
        rows = [f"{at},{point},{n}" for n, at in enumerate(walls) for point in ("SF1 amps", "EF1 amps")]
        plant.drop("a.csv", "\n".join(["Time,Point,Value", *rows]))
    else:
        header = "Time,SF1 amps,EF1 amps" if layout == "wide" else "Time,SF1 amps"
        rows = [f"{at},{n}" + (f",{n}" if layout == "wide" else "") for n, at in enumerate(walls)]
        plant.drop("a.csv", "\n".join([header, *rows]))
    plant.pull()
    meant = {f"{at:%Y-%m-%dT%H:%M:%SZ}": float(n) for n, at in enumerate(times.tz_convert("UTC"))}
    assert plant.cells("SF-1", "current_a") == meant
    assert plant.intake().iloc[0]["refused"] == 0


def test_a_skipped_time_is_refused_with_its_reason(plant: Any) -> None:
    plant.declare(zone="America/Denver")
    plant.drop("a.csv", "Time,SF1 amps\n2025-03-09 01:45,1\n2025-03-09 02:15,2\n2025-03-09 03:00,3\n")
    plant.pull()
    assert plant.refusals() == [(3, "Time", "2025-03-09 02:15", "the clocks skipped this time that night", 1)]
    assert plant.cells("SF-1", "current_a") == {"2025-03-09T08:45:00Z": 1.0, "2025-03-09T09:00:00Z": 3.0}


def test_a_repeated_time_without_order_is_refused_with_its_reason(plant: Any) -> None:
    plant.declare(zone="America/Denver")
    rows = "".join(f"{row.replace('T', ' ')},1\n" for row in BEFORE + HOUR + AFTER)
    plant.drop("a.csv", f"Time,SF1 amps\n{rows}")
    plant.pull()
    assert plant.intake().iloc[0][["stored", "refused"]].tolist() == [4, 4]
    assert all("twice" in str(reason) for _, _, _, reason, _ in plant.refusals())


def test_a_time_with_its_offset_is_never_ambiguous(plant: Any) -> None:
    plant.declare(zone="America/Denver")
    plant.drop("a.csv", "Time,SF1 amps\n2025-11-02T01:30:00-06:00,1\n2025-11-02T01:30:00-07:00,2\n")
    plant.pull()
    assert plant.cells("SF-1", "current_a") == {"2025-11-02T07:30:00Z": 1.0, "2025-11-02T08:30:00Z": 2.0}
