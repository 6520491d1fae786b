"""What a point said between its records: short days with everything expected written out."""

import numpy as np
import pandas as pd
import pytest

from analytics.holding import HOUR_NS, held, is_even, needs_holding

DAY = pd.Timestamp("2025-03-03T00:00Z")
DAY_NS = DAY.as_unit("ns").value
END_NS = DAY_NS + 24 * HOUR_NS


def at(*minutes: float) -> np.ndarray:
    return DAY_NS + np.array([round(minute * 60_000_000_000) for minute in minutes], dtype=np.int64)


def log(**columns: dict[float, float]) -> pd.DataFrame:
    """Return a log on change: a row for each minute at which any point reports."""
    minutes = sorted({minute for values in columns.values() for minute in values})
    rows = {name: [values.get(minute, np.nan) for minute in minutes] for name, values in columns.items()}
    return pd.DataFrame({"time": pd.to_datetime(at(*minutes), utc=True).as_unit("us"), **rows})


def told(frame: pd.DataFrame, longest_s: dict[str, float] | None = None) -> pd.DataFrame:
    points = [name for name in frame if name != "time"]
    return held(frame, DAY_NS, END_NS, points, longest_s or {}).set_index("time")


@pytest.mark.parametrize(
    ("minutes", "even"),
    [
        (range(0, 150, 15), True),
        ([0, 15.2, 29.9, 45, 60.3, 75], True),  # clocks waver
        ([0, 15, 30, 75, 90, 105], True),  # a gap
        ([0, 1, 9, 10, 14, 31, 33, 58], False),
        ([0, 15, 30], False),  # too few to tell
    ],
)
def test_records_at_an_interval_are_told_from_others(minutes: list[float], even: bool) -> None:
    assert is_even(at(*minutes)) is even


def test_rows_at_an_interval_that_speak_of_every_point_need_no_holding() -> None:
    values = np.ones((20, 3))
    values[:, 2] = np.nan  # a point that the fan does not have
    values[4:7, 1] = np.nan  # a sensor that was away for a while
    assert not needs_holding(at(*range(0, 300, 15)), values)


def test_rows_of_two_points_at_two_intervals_need_holding() -> None:
    values = np.column_stack([np.ones(20), np.where(np.arange(20) % 3 == 0, 1.0, np.nan)])
    assert needs_holding(at(*range(0, 100, 5)), values)


def test_rows_on_change_need_holding() -> None:
    minutes = np.cumsum([0, 1, 9, 2, 14, 31, 3, 58, 12, 7, 41])
    assert needs_holding(at(*minutes), np.ones((11, 1)))


def test_a_value_holds_until_the_next_record_and_weighs_its_time() -> None:
    changes = {0.0: 10.0, 1.0: 11.0, 9.0: 12.0, 20.0: 13.0, 50.0: 20.0, 59.0: 21.0, 61.0: 1.0}
    amps = told(log(current_a=changes))["current_a"]
    hour = amps[(amps.index >= DAY) & (amps.index < DAY + pd.Timedelta(hours=1))]
    assert list(hour) == [10.0, 11.0, 12.0, 12.0, *[13.0] * 6, *[20.0] * 2]
    # By the minute: (10 + 8 x 11 + 11 x 12 + 30 x 13 + 9 x 20 + 21) / 60; by records alone 14.5.
    assert hour.mean() == pytest.approx(821 / 60, abs=0.11)


def test_what_is_told_to_the_machine_holds_longer_than_what_a_sensor_says() -> None:
    frame = log(
        speed_fraction={0.0: 0.8}, pressure_pa={0.0: 500.0}, current_a={0.0: 9.0, 7.0: 8.0, 1200.0: 9.0}
    )
    at_hour = told(frame)
    for hour, speed, pressure in ((2, 0.8, 500.0), (3, 0.8, np.nan), (20, 0.8, np.nan)):
        row = at_hour.loc[DAY + pd.Timedelta(hours=hour)]
        assert (row["speed_fraction"], row["pressure_pa"]) == (speed, pytest.approx(pressure, nan_ok=True))


def test_the_site_may_say_how_long_a_value_holds() -> None:
    frame = log(pressure_pa={0.0: 500.0}, current_a={0.0: 9.0, 7.0: 8.0, 700.0: 9.0})
    pressure = told(frame, {"pressure_pa": 600.0})["pressure_pa"]
    assert pressure.last_valid_index() == DAY + pd.Timedelta(minutes=10)


def test_a_point_at_an_interval_holds_for_one_and_a_half_of_it() -> None:
    quarter = {15.0 * place: 500.0 for place in range(20) if place not in (8, 9)}
    frame = log(pressure_pa=quarter, speed_fraction={5.0 * place: 0.8 for place in range(58)})
    pressure = told(frame)["pressure_pa"]
    gap = pressure[pressure.isna() & (pressure.index > DAY)]
    assert list(gap.index.strftime("%H:%M")) == ["02:10", "02:15", "02:20", "02:25"]


def test_nothing_is_held_past_the_last_record_of_any_point() -> None:
    frame = log(speed_fraction={0.0: 0.8}, current_a={0.0: 9.0, 7.0: 8.0, 92.0: 9.0})
    assert told(frame).index[-1] == DAY + pd.Timedelta(minutes=92)


def test_the_day_before_reaches_into_the_day_and_the_hour_before_it() -> None:
    frame = log(speed_fraction={-300.0: 0.8}, current_a={-90.0: 9.0, 7.0: 8.0, 92.0: 9.0})
    whole = told(frame)
    assert whole.index[0] == DAY - pd.Timedelta(hours=1)
    assert (whole["speed_fraction"] == 0.8).all()
    assert whole["current_a"].notna().all()


def test_a_day_without_records_has_no_rows() -> None:
    assert told(log(speed_fraction={-300.0: 0.8})).empty
