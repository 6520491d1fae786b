"""What a planted fault comes to, and on which line of the table its fan is counted."""

import numpy as np
import pandas as pd
import pytest

from analytics.judging import healthy
from analytics.scaled_hours import scaled_hours
from tests.accuracy.drawing import HEALTHY_DAYS, draw_fan
from tests.accuracy.judged import _of_day
from tests.accuracy.showing import Shown, shown
from tests.accuracy.table import HIDDEN, SLIGHT, confusion

DAY = 110


def shown_of(number: int, cause: str) -> tuple[Shown, float]:
    """What the fault of a drawn fan comes to on a day when it is full grown, and its planted size."""
    fan = draw_fan(11, number, cause, 60, DAY + 1)
    is_healthy = fan.day < HEALTHY_DAYS
    curves = healthy(fan.hours[is_healthy].reset_index(drop=True), fan.day[is_healthy], fan.machine)
    hours = scaled_hours(fan.hours, fan.machine, curves.channels)
    return shown(fan, curves, _of_day(hours, fan.day == DAY), DAY), fan.plan.faults[0].size


def test_a_pressure_gain_moves_the_pressure_by_itself_and_no_station() -> None:
    found, size = shown_of(2, "pressure_gain")
    assert found.moved == pytest.approx(abs(np.log1p(size)) / 0.02, rel=0.15)
    assert found.station == 0.0


def test_an_airflow_gain_is_the_stations_own_error_whatever_the_curves_make_of_it() -> None:
    found, size = shown_of(2, "airflow_gain")
    assert found.station == pytest.approx(abs(np.log1p(size)) / 0.06)


def test_a_zero_is_planted_only_where_a_station_has_one() -> None:
    for number in range(8):
        assert draw_fan(11, number, "airflow_zero", 60, 1).plan.sensors["airflow"].kind == "dp"


def test_faults_too_small_to_be_told_have_a_line_of_their_own() -> None:
    def row(fan: str, verdict: str, moved: float, station: float) -> dict[str, object]:
        told = {
            "cause": "airflow_zero",
            "verdict": verdict,
            "rest": f"{verdict} drag",
            "refused": "",
            "day": 1,
        }
        return {"fan": fan, "moved": moved, "station": station, **told}

    judged = pd.DataFrame(
        [
            row("told", "airflow_sensor", 1.5, 0.5),
            row("missed", "none", 1.5, 2.0),
            row("slight", "none", 0.5, 0.5),
            row("slight and wrong", "belt_slip", 0.5, 0.5),
            row("hidden", "none", 0.5, 1.5),
        ]
    )
    lines = confusion(judged).set_index("cause")
    assert dict(lines["fans"]) == {"airflow_zero": 2, "airflow_zero" + SLIGHT: 2, "airflow_zero" + HIDDEN: 1}
    assert lines.loc["airflow_zero", "acceptable"] == 50.0
    assert lines.loc["airflow_zero" + SLIGHT, "acceptable"] == 50.0
    assert lines.loc["airflow_zero" + SLIGHT, "wrong"] == "belt_slip:1"
    assert lines.loc["airflow_zero" + HIDDEN, "acceptable"] == 0.0
