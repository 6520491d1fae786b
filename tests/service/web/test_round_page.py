"""The round's page and its sheet, and what a filled one brings."""

import csv
import datetime as dt
import io
from urllib.parse import quote

import pytest
import sqlalchemy as sa

from analytics.load_profile import BINS
from config import load_site
from service.round.fields import unshielded
from service.store.cost_tables import REVISION, fan_loads

from .conftest import HOSTILE, SLIPPING, Asking


def load_of(hours: int) -> dict[str, object]:
    losses = dict.fromkeys(
        ("loss", "loss_low", "loss_high", "loss_cogged", "loss_synchronous"), [0.05] * BINS
    )
    ones = dict.fromkeys(
        ("motor_kw", "load_ratio", "drawn_kw", "line_kw", "price", "airflow_m3s"), [1.0] * BINS
    )
    at_one = [float(hours) if place == 5 else 0.0 for place in range(BINS)]
    return {"revision": REVISION, "hours": at_one, "season_error": 0.0} | losses | ones


def test_the_round_is_a_page_with_the_cautions_first_and_the_worst_before_the_rest(ask: Asking) -> None:
    text = ask("/round").text
    assert (
        text.index("local isolator")
        < text.index("Kiln EF-1")
        < text.index(SLIPPING)
        < text.index("Mill SF-1")
    )
    assert "as found" in text
    assert "guard refitted" in text


def test_an_empty_site_says_when_there_will_be_a_round(ask_empty: Asking) -> None:
    answer = ask_empty("/round")
    assert answer.status_code == 404
    assert "The ledger is empty" in answer.text


@pytest.mark.parametrize(
    ("asked", "remedy"),
    [
        ("date=30.06.2025", "rite it as 2025-09-30"),
        ("quarter=2025-Q9", "rite it as 2025-Q3"),
        ("date=2025-06-30&quarter=2025-Q2", "ive one of them"),
    ],
)
def test_a_round_that_cannot_be_is_refused_with_a_remedy(ask: Asking, asked: str, remedy: str) -> None:
    answer = ask(f"/round?{asked}")
    assert answer.status_code == 400
    assert remedy in answer.text


def test_hostile_names_stand_as_they_are_and_run_nothing(ask_hostile: Asking) -> None:
    text = ask_hostile("/round").text
    assert "<script>" not in text
    rows = list(csv.DictReader(io.StringIO(ask_hostile("/round.csv").text)))
    assert {unshielded(row["fan"]) for row in rows} == set(HOSTILE)


def test_a_pasted_sheet_is_entered_once_and_its_faults_are_said(ask: Asking) -> None:
    head = "fan,date,work,left_motor_rpm,left_wheel_rpm\n"
    for said in ("1 entry added, 0 in the log before", "0 entries added, 1 in the log before"):
        filled = f"{head}{SLIPPING},2025-06-30,retensioned,1480,900\n"
        assert said in ask.send("/round", "/round/filled", filled=filled).text
    (entry,) = load_site(ask.site.path).service
    assert (entry.fan, entry.date, entry.fan_rpm) == (SLIPPING, dt.date(2025, 6, 30), 900.0)
    wrong = ask.send("/round", "/round/filled", filled=f"{head}{SLIPPING},yesterday,retensioned,,\n")
    assert wrong.status_code == 400
    assert "line 2, date" in wrong.text
    assert len(load_site(ask.site.path).service) == 1


def test_the_round_is_told_to_programs_in_the_order_of_its_page(ask: Asking) -> None:
    log = f"fan,date,work\n{SLIPPING},2025-06-27,belt_replaced\n"
    (ask.site.path / "service_log.csv").write_text(log, encoding="utf-8")
    rows = ask("/api/v1/round").json()
    assert [row["fan"] for row in rows] == ["Kiln EF-1", SLIPPING, "Mill SF-1"]
    assert rows[0]["group"] == "First, worst first"
    # Belts of the 27th want their recheck on the 28th or 29th; the ledger ends on the 30th.
    assert any("28 Jun 2025 to 29 Jun 2025), overdue" in words for words in rows[1]["due"])
    assert [row["fan"] for row in ask("/api/v1/round?building=Mill&limit=1").json()] == [SLIPPING]
    assert ask("/api/v1/round?date=2025-06-30&quarter=2025-Q2").status_code == 422
    assert ask("/api/v1/round?date=2020-01-01").status_code == 404
    text = ask(f"/fans/{quote(SLIPPING)}").text
    assert "overdue" in text
    assert "/retrofit?fan=Mill" in text


def test_costs_and_remedies_are_told_to_programs(ask: Asking) -> None:
    assert ask(f"/api/v1/fans/{SLIPPING}/costs").json() == []
    with ask.store.writer() as connection:
        row = {"fan": SLIPPING, "digest": "0" * 64, "profile": load_of(1000)}
        connection.execute(sa.insert(fan_loads), [row])
    (cost,) = ask(f"/api/v1/fans/{SLIPPING}/costs").json()
    # 1 kW over 1000 h at 5 % slip above creep: 1000 (1 / 0.95 - 1) kWh.
    assert cost["slip_kwh"] == pytest.approx(1000.0 * (1.0 / 0.95 - 1.0))
    assert cost["slip_low_kwh"] < cost["slip_kwh"] < cost["slip_high_kwh"]
    (fan,) = [one for one in ask("/api/v1/fans").json() if one["fan"] == SLIPPING]
    assert fan["cost_a_year"] == pytest.approx(cost["money"])
    remedies = {one["remedy"]: one for one in ask(f"/api/v1/fans/{SLIPPING}/remedies").json()}
    assert remedies["retension"]["payback_years"] == pytest.approx(75.0 / cost["slip_kwh"])
