"""A retrofit on a site from its exports to the verdict: what is found, what is refused, what is not shown."""

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.compared_hours import Basis
from demo_trends.simulator import Trends
from service.command_line import frame
from tests.service.assess.conftest import Plant

from .conftest import AFTER, AIR, AMPS, BEFORE, BELT, DRIVE, LOG

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], site: Plant) -> Run:
    """Check a retrofit: exit code, stdout, stderr."""

    def command(
        *options: object, fan: str = BELT, before: str = BEFORE, after: str = AFTER
    ) -> tuple[int, str, str]:
        words = ["retrofit", site.folder, "--fan", fan, "--before", before, "--after", after, *options]
        with pytest.raises(SystemExit) as stopped:
            frame.main([str(word) for word in words])
        captured = capsys.readouterr()
        code = stopped.value.code
        return (code if isinstance(code, int) else 0), captured.out, captured.err

    return command


def test_the_interval_holds_the_planted_saving(run: Run, planted: dict[str, tuple[Trends, float]]) -> None:
    code, out, _ = run("--json", "--confidence", 95)
    told = json.loads(out)
    assert code == 0
    assert told["basis"] == Basis.DRIVE
    assert "v belt to synchronous belt" in told["basis_reason"]
    truth = planted[BELT][1]
    assert told["low_pct"] < truth < told["high_pct"]
    assert told["saving_pct"] == pytest.approx(truth, abs=1.0)
    adjusted, after = told["adjusted_before_kw"], told["after_kw"]
    assert told["saving_kw"] == pytest.approx(adjusted - after, abs=1e-5)
    assert told["restored_kw"] + told["renewed_kw"] == pytest.approx(told["saving_kw"], abs=1e-4)
    assert told["confidence"] == 95
    assert told["promised_pct"] is None
    assert told["met"] == "not_shown"


@pytest.mark.parametrize(("apart", "met"), [(-1.0, "yes"), (1.0, "no"), (0.0, "not_shown")])
def test_a_promise_is_met_missed_or_open_by_where_the_interval_lies(run: Run, apart: float, met: str) -> None:
    told = json.loads(run("--json")[1])
    half = told["high_pct"] - told["saving_pct"]
    promised = told["saving_pct"] + 1.2 * apart * half
    again = json.loads(run("--json", "--promised", promised)[1])
    assert again["met"] == met
    assert (again["more_days"] == 0) == (met != "not_shown")


def test_a_promise_just_inside_the_interval_says_how_many_more_days_would_decide(run: Run) -> None:
    after = "2025-03-18..2025-03-28"
    told = json.loads(run("--json", after=after)[1])
    promised = told["low_pct"] + 0.1 * (told["saving_pct"] - told["low_pct"])
    again = json.loads(run("--json", "--promised", promised, after=after)[1])
    assert again["met"] == "not_shown"
    assert 0 < again["more_days"] < 60
    assert f"about {again['more_days']} more days like these" in again["reason"]


def test_a_wider_confidence_gives_a_wider_interval(run: Run) -> None:
    spreads = json.loads(run("--json", "--confidence", 80)[1])["uncertainty"]
    widths = [one["high_pct"] - one["low_pct"] for one in spreads]
    assert [one["confidence"] for one in spreads] == [68, 80, 90, 95]
    assert widths == sorted(widths)


def test_the_saving_can_be_worked_out_again_from_the_hours_written(run: Run, tmp_path: Path) -> None:
    told = json.loads(run("--json", "--hours", tmp_path / "hours.csv")[1])
    hours = pd.read_csv(tmp_path / "hours.csv")
    used = hours[(hours["period"] == "after") & hours["is_used"]]
    gone = np.average(np.log(used["power_kw"] / used["adjusted_kw"]), weights=used["power_kw"])
    assert 100.0 * (1.0 - np.exp(gone)) == pytest.approx(told["saving_pct"], abs=1e-6)
    assert len(used) == told["hours_after"]


def test_the_report_is_one_file_without_a_script_or_an_address(run: Run, tmp_path: Path) -> None:
    run("--promised", 2, "--out", tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Promised 2 %" in text
    assert "<svg" in text
    assert "<script" not in text
    assert "src=" not in text
    assert "Persistence is not claimed" in text


def test_the_days_on_which_a_belt_runs_in_are_left_out(run: Run, site: Plant) -> None:
    told = json.loads(run("--json")[1])
    assert told["days_left_out"] == []
    log = (site.folder / "service_log.csv").read_text()
    try:
        site.log(*LOG, f"{BELT},2025-02-26,10:00,belt_replaced,,")
        again = json.loads(run("--json")[1])
    finally:
        (site.folder / "service_log.csv").write_text(log)
    assert again["days_left_out"] == [
        f"2025-{day}" for day in ("02-26", "02-27", "02-28", *(f"03-0{k}" for k in range(1, 5)))
    ]
    assert any("belt replaced on 26 Feb 2025" in one for one in again["outside_changes"])


def test_a_new_motor_whose_own_amps_are_read_is_two_instruments(run: Run) -> None:
    code, out, _ = run("--json", "--promised", 3, fan=AMPS)
    told = json.loads(out)
    assert code == 0
    assert told["met"] == "not_shown"
    assert told["saving_pct"] is None
    assert "two instruments" in told["reason"]


@pytest.mark.parametrize(
    ("fan", "words"), [(AIR, "setpoint changed on 16 Mar 2025"), (DRIVE, "drive replaced on 16 Mar 2025")]
)
def test_a_change_of_the_air_is_judged_at_equal_airflow_alone_and_its_interval_holds_the_saving(
    run: Run, planted: dict[str, tuple[Trends, float]], fan: str, words: str
) -> None:
    told = json.loads(run("--json", "--confidence", 95, fan=fan)[1])
    assert (told["basis"], words in told["basis_reason"]) == ("air", True)
    assert told["low_pct"] < planted[fan][1] < told["high_pct"]
    assert told["saving_pct"] == pytest.approx(planted[fan][1], abs=2.0)


def test_a_new_frequency_drive_that_may_be_the_meter_itself_is_two_instruments(run: Run, site: Plant) -> None:
    fans = (site.folder / "fans.csv").read_text()
    rows = list(csv.DictReader(io.StringIO(fans)))
    try:
        with (site.folder / "fans.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows({**row, "power_at": ""} for row in rows)
        told = json.loads(run("--json", "--promised", 3, fan=DRIVE)[1])
    finally:
        (site.folder / "fans.csv").write_text(fans)
    assert (told["met"], told["saving_pct"]) == ("not_shown", None)
    assert "write power_at = line" in told["reason"]


def test_an_airflow_station_calibrated_between_the_periods_shows_nothing(run: Run, site: Plant) -> None:
    log = (site.folder / "service_log.csv").read_text()
    try:
        text = f"fan,date,work,role\n{BELT},2025-03-17,sensor_calibrated,airflow\n"
        (site.folder / "service_log.csv").write_text(text)
        told = json.loads(run("--json", "--promised", 3)[1])
    finally:
        (site.folder / "service_log.csv").write_text(log)
    assert (told["met"], told["saving_pct"]) == ("not_shown", None)
    assert "airflow sensor calibrated on 17 Mar 2025" in told["reason"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"fan": "SF-9"}, "there is no fan 'SF-9'"),
        ({"before": "2025-02-24..2025-03-20"}, "share 2025-03-18"),
        ({"before": AFTER, "after": BEFORE}, "exchange the two"),
        ({"before": "2025-03-15..2025-02-24"}, "ends before it begins"),
        ({"before": "2025-03-01..2025-03-03"}, "7 are the least"),
        ({"before": "February"}, "is no period"),
        ({"after": "2027-03-18..2027-04-08"}, "outside the readings of SF-1"),
    ],
)
def test_what_has_no_answer_is_refused_with_what_to_do(run: Run, options: dict[str, str], words: str) -> None:
    code, out, err = run("--json", **options)
    assert code == 2
    assert out == ""
    assert words in " ".join(err.split())


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--promised", 0),
        ("--promised", 120),
        ("--confidence", 0.9),
        ("--basis", "fan"),
        ("--out", "report.docx"),
        ("--hours", "hours.xlsx"),
    ],
)
def test_an_option_out_of_range_is_refused(run: Run, option: str, value: object) -> None:
    code, _, err = run(option, value)
    assert code == 2
    assert option in err
