"""What a fan did in each hour: ten-reading series with everything expected written out."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.machine import Machine
from analytics.operating_points import Part, fleet_points, operating_points
from analytics.vocabulary import Drive, SpeedControl

NAN = np.nan
VFD = Machine(drive=Drive.V_BELT, motor_rated_power_w=11_000.0, motor_rated_current_a=20.0)
STARTER = Machine(
    drive=Drive.V_BELT,
    motor_rated_power_w=11_000.0,
    motor_rated_current_a=20.0,
    speed_control=SpeedControl.CONSTANT,
)


def readings(minutes: int, start: str = "2025-03-03T08:00Z", **columns: list[float]) -> pd.DataFrame:
    size = len(next(iter(columns.values())))
    time = pd.date_range(start, periods=size, freq=f"{minutes}min", unit="us")
    return pd.DataFrame({"time": time, **columns})


def steady(speed: list[float], minutes: int, current: list[float] | None = None) -> list[bool]:
    amps = [12.0 if value > 0 else 0.0 for value in speed] if current is None else current
    points = operating_points(readings(minutes, speed_fraction=speed, current_a=amps), VFD)
    return list(points["is_steady"])


@pytest.mark.parametrize(
    ("minutes", "hours"), [(1, [10]), (5, [10]), (15, [4, 4, 2]), (30, [2] * 5), (60, [1] * 10)]
)
def test_ten_readings_make_the_hours_they_lie_in(minutes: int, hours: list[int]) -> None:
    speed = [0.80, 0.81, 0.80, 0.79, 0.80, 0.80, 0.81, 0.80, 0.80, 0.79]
    points = operating_points(readings(minutes, speed_fraction=speed, current_a=[12.0] * 10), VFD)
    assert list(points["readings"]) == hours
    starts = pd.date_range("2025-03-03T08:00Z", periods=len(hours), freq="h", unit="us")
    assert list(points["time"]) == list(starts)
    assert points["is_steady"].all()
    assert (points["running"] == 1.0).all()
    ends = np.cumsum(hours) - 1
    assert list(points["last_reading"]) == [starts[0] + pd.Timedelta(minutes=minutes * end) for end in ends]
    means = [np.mean(part) for part in np.split(np.array(speed), ends[:-1] + 1)]
    np.testing.assert_allclose(points["speed_fraction"], means, rtol=2e-9)


def test_hourly_readings_are_steady_where_speed_and_running_went_on() -> None:
    speed = [0.0, 0.8, 0.8, 0.8, 0.65, 0.65, 0.75, 0.0, 0.7, 0.7]
    # stopped, cold, steady, steady, ramp, steady, a step of a tenth, stopped, cold, steady
    assert steady(speed, 60) == [False, False, True, True, False, True, True, False, False, True]


def test_half_hourly_readings_over_a_start_and_a_ramp() -> None:
    speed = [0.0, 0.0, 0.8, 0.8, 0.8, 0.8, 0.9, 0.7, 0.7, 0.7]
    assert steady(speed, 30) == [False, False, True, False, True]


def test_the_hour_after_a_stop_within_an_hour_is_cold() -> None:
    speed = [0.8, 0.8, 0.8, 0.0, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8]
    assert steady(speed, 20) == [True, False, False, True]


def test_a_gap_is_no_stop() -> None:
    frame = readings(30, speed_fraction=[0.8] * 10, current_a=[12.0] * 10)
    kept = frame.drop(index=[2, 3, 4, 5]).reset_index(drop=True)
    points = operating_points(kept, VFD)
    assert list(points["time"].dt.hour) == [8, 11, 12]
    assert list(points["is_steady"]) == [True, True, True]


def test_an_hourly_step_across_a_gap_is_no_ramp() -> None:
    frame = readings(60, speed_fraction=[0.5] * 5 + [0.9] * 5, current_a=[12.0] * 10)
    assert list(operating_points(frame, VFD)["is_steady"]) == [True] * 5 + [False] + [True] * 4
    kept = frame.drop(index=[4]).reset_index(drop=True)
    assert list(operating_points(kept, VFD)["is_steady"]) == [True] * 9


def test_lost_values_leave_what_is_left() -> None:
    frame = readings(
        15,
        speed_fraction=[0.8, NAN, 0.8, 0.8, 0.8, 0.8, NAN, NAN, NAN, NAN],
        current_a=[12.0, 12.0, NAN, 12.0, NAN, NAN, NAN, NAN, 12.0, 12.0],
        pressure_pa=[400.0, 410.0, 420.0, NAN, NAN, NAN, NAN, NAN, NAN, 500.0],
    )
    points = operating_points(frame, VFD)
    # Where neither current nor command is known, nothing says that it ran.
    assert list(points["running"]) == [1.0, 0.5, 1.0]
    assert list(points["is_steady"]) == [True, False, False]
    np.testing.assert_allclose(points["pressure_pa"], [410.0, NAN, 500.0])
    np.testing.assert_allclose(points["speed_fraction"], [0.8, 0.8, NAN], rtol=2e-9)
    np.testing.assert_allclose(points["current_a"], [12.0, NAN, 12.0])


def test_means_are_over_running_readings_and_zeros_over_the_rest() -> None:
    frame = readings(
        15,
        speed_fraction=[0.8, 0.8, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.8],
        current_a=[12.0, 14.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 11.0],
        pressure_pa=[400.0, 420.0, 6.0, 4.0, 5.0, 5.0, 5.0, 5.0, 5.0, 390.0],
        airflow_m3s=[3.0, 3.2, 0.1, 0.3, 0.2, 0.2, 0.2, NAN, 0.2, 2.9],
    )
    points = operating_points(frame, VFD)
    assert list(points["running"]) == [0.5, 0.0, 0.5]
    assert list(points["stopped"]) == [2, 4, 1]
    np.testing.assert_allclose(points["pressure_pa"], [410.0, NAN, 390.0])
    np.testing.assert_allclose(points["stopped_pressure_pa"], [5.0, 5.0, 5.0])
    np.testing.assert_allclose(points["stopped_airflow_m3s"], [0.2, 0.2, 0.2], rtol=2e-9)


def test_the_latter_half_of_the_hour_decides_at_once() -> None:
    frame = readings(
        5,
        start="2025-03-03T08:05Z",
        speed_fraction=[0.8] * 10,
        current_a=[10.0, 10.0, 10.0, 10.0, 10.0, 4.0, 4.0, 4.0, 4.0, 4.0],
    )
    points = operating_points(frame, VFD)
    assert list(points["late_current_a"]) == [4.0]
    np.testing.assert_allclose(points["current_a"], [7.0])
    first = operating_points(frame.iloc[:7], VFD)
    # Four of seven readings count: the one before the change still weighs.
    np.testing.assert_allclose(first["late_current_a"], [(2 * 10.0 + 2 * 4.0) / 4], rtol=2e-9)


@pytest.mark.parametrize(
    ("minutes", "speed", "told"),
    [
        (15, [0.8] * 4 + [0.8] * 4 + [0.8] * 2, [True, True, True]),
        # told to run at the last reading only: it may not have begun to move
        (15, [0.0, 0.0, 0.0, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8], [False, True, True]),
        # the evening stop: half of the readings are of a fan that stands
        (15, [0.8, 0.8, 0.8, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], [False, False, False]),
        (
            60,
            [0.0, 0.8, 0.8, 0.8, 0.0, 0.8, 0.8, 0.8, 0.8, 0.8],
            [False, False, *[True] * 2, *[False] * 2, *[True] * 4],
        ),
        (30, [0.8, 0.0, 0.8, 0.8, 0.8, 0.8, NAN, NAN, 0.8, 0.8], [False, True, True, True, True]),
    ],
)
def test_late_readings_decide_where_the_fan_was_told_to_run_before_them(
    minutes: int, speed: list[float], told: list[bool]
) -> None:
    current = [0.0 if value == 0.0 else 12.0 for value in speed]
    points = operating_points(readings(minutes, speed_fraction=speed, current_a=current), VFD)
    assert list(points["late_is_told"]) == told


def test_a_tripped_drive_is_still_told_to_run() -> None:
    frame = readings(15, speed_fraction=[0.8] * 10, current_a=[12.0] * 2 + [0.0] * 8)
    points = operating_points(frame, VFD)
    assert list(points["late_is_told"]) == [True, True, True]
    assert list(points["running"]) == [0.5, 0.0, 0.0]


def test_a_starter_has_no_command() -> None:
    frame = readings(60, current_a=[0.0, 12.0, 12.0, 12.0, 0.0, 0.0, 12.0, 12.0, 12.0, 12.0])
    points = operating_points(frame, STARTER)
    assert list(points["running"]) == [0.0, 1.0, 1.0, 1.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0]
    assert list(points["is_steady"]) == [False, False, True, True, False, False, False, True, True, True]
    assert list(points["late_is_told"]) == list(points["is_steady"])


def test_hours_begin_where_the_plants_do() -> None:
    # Half past the hour of UTC is the full hour in Adelaide and in Delhi.
    frame = readings(15, start="2025-03-03T13:00Z", speed_fraction=[0.8] * 10, current_a=[12.0] * 10)
    points = operating_points(frame, VFD, utc_offset_s=int(5.5 * 3600))
    assert list(points["time"].dt.strftime("%H:%M")) == ["12:30", "13:30", "14:30"]
    assert list(points["readings"]) == [2, 4, 4]
    west = operating_points(frame, VFD, utc_offset_s=-7 * 3600)
    assert list(west["time"].dt.strftime("%H:%M")) == ["13:00", "14:00", "15:00"]


def test_the_same_values_in_other_units_make_the_same_bits() -> None:
    draw = np.random.default_rng(1)
    cfm = np.round(draw.uniform(1000.0, 30_000.0, 400))
    per_cfm = 0.3048**3 / 60.0
    one = readings(15, speed_fraction=[0.8] * 400, current_a=[12.0] * 400, airflow_m3s=list(cfm * per_cfm))
    litres = cfm * per_cfm * 1000.0
    two = readings(15, speed_fraction=[0.8] * 400, current_a=[12.0] * 400, airflow_m3s=list(litres / 1000.0))
    assert not one["airflow_m3s"].equals(two["airflow_m3s"])
    assert operating_points(one, VFD).equals(operating_points(two, VFD))


def test_readings_are_left_as_they_were() -> None:
    frame = readings(15, speed_fraction=[0.8] * 10, current_a=[12.0] * 10)
    before = frame.copy()
    operating_points(frame, VFD)
    assert frame.equals(before)


cells = st.one_of(st.just(NAN), st.just(0.0), st.floats(0.0, 1.2))


@given(
    speed=st.lists(cells, min_size=30, max_size=30),
    current=st.lists(st.one_of(st.just(NAN), st.just(0.0), st.floats(0.0, 40.0)), min_size=30, max_size=30),
    gaps=st.lists(st.booleans(), min_size=30, max_size=30),
    cut=st.integers(1, 9),
    minutes=st.sampled_from([7, 15, 20, 60]),
)
def test_hours_read_apart_are_those_read_together(
    speed: list[float], current: list[float], gaps: list[bool], cut: int, minutes: int
) -> None:
    frame = readings(minutes, speed_fraction=speed, current_a=current)[np.array(gaps)].reset_index(drop=True)
    start = dt.datetime(2025, 3, 3, 8 + cut, tzinfo=dt.UTC)
    # What a later pass reads: the touched hours, and one before them.
    late = frame[frame["time"] >= pd.Timestamp(start) - pd.Timedelta(hours=1)].reset_index(drop=True)
    if late.empty:
        return
    whole, part = operating_points(frame, VFD), operating_points(late, VFD)
    whole, part = (points[points["time"] >= pd.Timestamp(start)] for points in (whole, part))
    assert part.reset_index(drop=True).equals(whole.reset_index(drop=True))


def test_a_fan_has_the_same_hours_alone_and_in_a_fleet() -> None:
    draw = np.random.default_rng(4)

    def drawn(machine: Machine, size: int, minutes: int) -> tuple[pd.DataFrame, Machine]:
        speed = np.repeat(draw.choice([0.0, 0.4, 0.6, 0.8, NAN], size // 3 + 1), 3)[:size]
        amps = np.where(speed > 0.0, draw.uniform(5.0, 15.0, size), 0.0)
        return readings(minutes, speed_fraction=list(speed), current_a=list(amps)), machine

    fans = [drawn(VFD, 90, 5), drawn(STARTER, 1, 60), drawn(VFD, 40, 15), drawn(STARTER, 77, 20)]
    ends = np.cumsum([len(rows) for rows, _ in fans])
    parts = [
        Part(int(end) - len(rows), int(end), machine) for end, (rows, machine) in zip(ends, fans, strict=True)
    ]
    together, number = fleet_points(pd.concat([rows for rows, _ in fans], ignore_index=True), parts)
    for place, (rows, machine) in enumerate(fans):
        mine = together[number == place].reset_index(drop=True)
        pd.testing.assert_frame_equal(mine, operating_points(rows, machine), check_exact=True)
