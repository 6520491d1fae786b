"""What is odd is said with its numbers, and never corrected. The bounds are common practice, no source."""

from typing import Any

import pytest

FANS = (
    "fan,drive,motor_kw,motor_fla,motor_rpm,design_airflow_ls,design_pressure_pa,"
    "speed_point,current_point,airflow_point,pressure_point\n"
    "SF-1,v_belt,11,20.7,1465,8000,800,SF1 speed,SF1 amps,SF1 flow,SF1 dp\n"
)


def lines(header: str, values: list[float], day: str = "2025-03-01") -> str:
    rows = (f"{day} {place // 60:02d}:{place % 60:02d},{value}" for place, value in enumerate(values))
    return f"Time,{header}\n" + "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    ("header", "values", "said"),
    [
        ("SF1 amps", [10.0, 11.0, -5.0] * 8, "8 of 24 values are negative, down to -5"),
        ("SF1 speed", [50.0, -25.0] * 8, "8 of 16 speeds are below zero, down to -25"),
        ("SF1 speed", [50.0, 140.0] * 8, "8 of 16 speeds are over the drive's limit, up to 140"),
        (
            "SF1 speed",
            [0.01 * place for place in range(40, 80)],
            "read as percent: the unit is likely fraction",
        ),
        ("SF1 amps", [12.5] * 96, "all 96 values are 12.5: flat or stuck"),
        ("SF1 flow", [7.5, 8.0] * 8, "a 1000th of what fits the design airflow"),
        ("SF1 flow", [8000.0 * 60] * 15 + [1.0], "60 times what fits the design airflow"),
        ("SF1 dp", [3.0, 3.2] * 8, "a 249.1th of what fits the design pressure"),
        ("SF1 dp", [50_000.0, 52_000.0] * 8, "off the scale of a fan"),
    ],
)
def test_what_is_odd_is_said_and_stored(plant: Any, header: str, values: list[float], said: str) -> None:
    plant.declare(fans=FANS)
    plant.drop("a.csv", lines(header, values))
    report = plant.pull()
    assert any(said in note for note in report.notes), report.notes
    row = plant.intake().iloc[0]
    assert said in row["decided"]
    assert row["stored"] == len(values)


@pytest.mark.parametrize(
    ("header", "values"),
    [
        ("SF1 amps", [0.0] * 96),
        ("SF1 speed", [0.0, 55.0, 100.0] * 8),
        ("SF1 flow", [0.0, 5000.0, 7900.0] * 8),
        # A fan that runs a few hours of the week.
        ("SF1 flow", [130.0] * 150 + [7900.0] * 6),
        ("SF1 dp", [-2.0, 400.0, 760.0] * 8),
    ],
)
def test_what_is_usual_is_not_remarked_on(plant: Any, header: str, values: list[float]) -> None:
    plant.declare(fans=FANS)
    plant.drop("a.csv", lines(header, values))
    assert plant.pull().notes == []


def test_a_time_still_to_come_is_said_and_stored(plant: Any) -> None:
    plant.drop("a.csv", lines("SF1 amps", [10.0], day="2031-03-01"))
    (note,) = plant.pull().notes
    assert "times up to 2031-03-01 00:00 UTC are still to come" in note
    assert plant.intake().iloc[0]["stored"] == 1


def hourly(day: int, amps: float, last: float | None = None) -> str:
    values = [*[amps] * 23, amps if last is None else last]
    lines = "".join(f"2025-03-{day:02d} {hour:02d}:00,{value}\n" for hour, value in enumerate(values))
    return f"Time,SF1 amps\n{lines}"


def flat_or_stuck(plant: Any) -> list[bool]:
    return ["flat or stuck" in told for told in plant.intake().sort_values("file")["decided"]]


@pytest.mark.parametrize("is_night_by_night", [True, False])
def test_a_sensor_stuck_over_several_files_is_told_once_they_are_a_days_worth_of_values(
    plant: Any, is_night_by_night: bool
) -> None:
    for day in range(1, 7):
        plant.drop(f"{day}.csv", hourly(day, 7.5, last=7.6 if day == 1 else None), 1000.0 * day)
        if is_night_by_night:
            plant.pull()
    plant.pull()
    assert flat_or_stuck(plant) == [False, False, False, False, True, True]
    told = plant.intake().sort_values("file")["decided"].iloc[-1]
    assert "'SF1 amps': 120 values over 5.0 days, in several files, are 7.5: flat or stuck" in told


def test_a_stopped_fans_zeros_and_a_value_that_moves_are_not_stuck(plant: Any) -> None:
    for day in range(1, 7):
        plant.drop(f"0 {day}.csv", hourly(day, 0.0))
        plant.drop(f"1 {day}.csv", hourly(day + 10, 7.0 + day))
    plant.pull()
    assert not any(flat_or_stuck(plant))


def test_points_logged_on_change_are_told_and_those_at_an_interval_are_not(plant: Any) -> None:
    lines = [
        f"2025-03-01 {minute // 60:02d}:{minute % 60:02d},SF1 amps,{minute}" for minute in range(0, 300, 15)
    ]
    changes = (3, 4, 9, 31, 77, 80, 81, 140, 222, 223)
    lines += [f"2025-03-01 {minute // 60:02d}:{minute % 60:02d},SF1 speed,{minute}" for minute in changes]
    plant.drop("a.csv", "Time,Point,Value\n" + "\n".join(lines) + "\n")
    plant.pull()
    told = plant.intake()["decided"][0]
    assert "logged on change, each value held until the next: SF1 speed" in told
    assert "SF1 amps" not in told.partition("logged on change")[2].partition(";")[0]
