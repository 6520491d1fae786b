"""What is proposed for points that no fan uses."""

from typing import Any

import pytest

from service.intake.points import propose_role


@pytest.mark.parametrize(
    ("name", "low", "high", "role"),
    [
        ("AHU3_SF_VFD_Speed", 0, 100, "speed"),
        ("ahu3/sf drive output Hz", 0, 60, "speed"),
        ("AHU-3 Supply Fan Amps", 0, 28.5, "current"),
        ("SF3 kW", 0, 17, "power"),
        ("SF3 motor torque", 0, 98, "torque"),
        ("SupplyAirflow", 0, 14000, "airflow"),
        ("SA CFM", 0, 14000, "airflow"),
        ("Duct static pressure", 0, 1.6, "pressure"),
        ("SF3 dP", -3, 720, "pressure"),
        ("Supply air temp", 52, 78, "air_temperature"),
        ("SF3 run status", 0, 1, "run_status"),
        ("SF3 motor rpm", 0, 1780, "motor_speed"),
        ("SF3 fan rpm", 0, 900, "wheel_speed"),
        ("OA damper position", 0, 100, "outdoor_air_damper"),
        ("Chilled water valve", 0, 100, ""),
        ("SF3 speed", 0, 14000, ""),
    ],
)
def test_words_and_range_together_propose_a_role(name: str, low: float, high: float, role: str) -> None:
    assert propose_role(name, low, high, str(high))[0] == role


def test_the_points_no_fan_uses_are_listed_once_with_what_they_looked_like(plant: Any) -> None:
    from config import load_site
    from service.intake.points import unused_points
    from service.store import open_store

    for day in (1, 2):
        plant.drop(
            f"{day}.csv",
            f"Time,SF1 amps,RF1 amps,Mode,RF1 run\n2025-03-0{day} 00:00,1,{day}.5,auto,On\n"
            f"2025-03-0{day} 00:15,1,,auto,Off\n",
        )
    plant.pull()
    site = load_site(plant.folder)
    with open_store(site) as store:
        found = unused_points(site, store).set_index("point")
    assert sorted(found.index) == ["Mode", "RF1 amps", "RF1 run"]
    assert found.loc["RF1 amps", ["proposed_role", "cells", "low", "high"]].tolist() == [
        "current",
        4,
        1.5,
        2.5,
    ]
    assert found.loc["RF1 run", ["proposed_role", "example"]].tolist() == ["run_status", "On"]
    assert found.loc["Mode", ["proposed_role", "example", "file"]].tolist() == ["", "auto", "2.csv"]


def test_a_point_is_told_by_the_first_value_there_was_and_the_file_it_was_last_in(plant: Any) -> None:
    from config import load_site
    from service.intake.points import unused_points
    from service.store import open_store

    for day, value in ((1, ""), (2, "7"), (3, "9"), (4, "")):
        plant.drop(f"{day}.csv", f"Time,SF1 amps,Mode\n2025-03-0{day} 00:00,1,{value}\n")
        plant.pull()
    site = load_site(plant.folder)
    with open_store(site) as store:
        (row,) = unused_points(site, store).to_dict("records")
    assert (row["example"], row["low"], row["high"], row["file"]) == ("7", 7.0, 9.0, "4.csv")


def test_a_file_is_explained_decision_by_decision(plant: Any) -> None:
    from config import load_site
    from service.failure import WorkFailed
    from service.intake.explain import explain
    from service.store import open_store

    path = plant.drop("a.csv", "Time;SF1 amps;Other\n24/02/2025 00:00;1,5;2\n24/02/2025 00:15;x;2\n")
    plant.pull()
    path.unlink()
    site = load_site(plant.folder)
    with open_store(site) as store:
        told = explain(site, store, "a.csv")
        with pytest.raises(WorkFailed, match="no such file"):
            explain(site, store, "b.csv")
    for part in (
        "wide, semicolon, day first, decimal comma",
        "2025-02-24 00:00 to 2025-02-24 00:15",
        "points in use: SF1 amps",
        "points in no use: Other",
        "cells: 4, of them missing 0, unmapped 2, refused 1",
        "line 3, column 'SF1 amps', 'x': not a number",
    ):
        assert part in told
