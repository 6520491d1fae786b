"""The JSON answers: columns, errors, health, metrics."""

import csv
import datetime as dt
import io
from typing import Any

import pytest
import sqlalchemy as sa
from prometheus_client.parser import text_string_to_metric_families

from config import load_site
from service.alerts import export_alerts
from service.assess.exports import export_daily
from service.store.ledger_tables import daily, episodes, fan_days
from service.store.source_stretches import note_sources
from service.store.tables import passes

from .conftest import LAST, LOST, NOW, SLIPPING, TIGHT, Asking


def test_the_daily_rows_are_those_of_the_export(ask: Asking) -> None:
    rows = ask(f"/api/v1/fans/{SLIPPING}/daily").json()
    written = export_daily(ask.store, SLIPPING).to_csv(index=False)
    exported = list(csv.DictReader(io.StringIO(written)))
    assert [list(row) for row in rows] == [list(row) for row in exported]
    assert len(rows) == 33
    for row, other in zip(rows, exported, strict=True):
        assert row["date"] == other["date"]
        assert row["slip_ref_pct"] == pytest.approx(float(other["slip_ref_pct"]))


def test_what_is_no_number_is_null(ask: Asking) -> None:
    with ask.store.writer() as connection:
        where = (daily.c.fan == SLIPPING) & (daily.c.date == LAST)
        connection.execute(sa.update(daily).where(where).values(slip_pct=None, drag_ref_pct=float("inf")))
    row = ask(f"/api/v1/fans/{SLIPPING}/daily").json()[-1]
    assert row["slip_pct"] is None
    assert row["drag_ref_pct"] is None


def test_the_fans_stand_worst_first(ask: Asking) -> None:
    rows = ask("/api/v1/fans").json()
    assert [(row["fan"], row["standing"]) for row in rows] == [
        (LOST, "go now"),
        (SLIPPING, "go soon"),
        (TIGHT, "tight"),
    ]
    assert rows[1]["slip_ref_pct"] == 6.0
    assert rows[1]["date"] == LAST.isoformat()
    assert ask(rows[1]["page"]).status_code == 200


def test_the_alerts_are_those_of_the_export(ask: Asking) -> None:
    rows = ask("/api/v1/alerts").json()
    exported = export_alerts(ask.store)
    assert [list(row) for row in rows] == [[*exported.columns, "number", "handling"]] * len(exported)
    assert [row["opened_at"] for row in rows] == list(exported["opened_at"])
    assert {row["fan"] for row in rows} == {LOST, SLIPPING}


def test_every_answer_fits_the_description(ask: Asking) -> None:
    description = ask("/openapi.json").json()
    for path, asked in (
        ("/api/v1/fans", "/api/v1/fans"),
        ("/api/v1/fans/{fan}/daily", f"/api/v1/fans/{TIGHT}/daily"),
        ("/api/v1/alerts", "/api/v1/alerts"),
    ):
        content = description["paths"][path]["get"]["responses"]["200"]["content"]
        name = content["application/json"]["schema"]["items"]["$ref"].rsplit("/", 1)[1]
        described = set(description["components"]["schemas"][name]["properties"])
        assert {frozenset(row) for row in ask(asked).json()} == {frozenset(described)}


@pytest.mark.parametrize(
    ("path", "status"), [("/api/v1/fans/nobody/daily", 404), ("/api/v1/", 404), ("/api/v1/fans/x", 404)]
)
def test_errors_have_one_shape(ask: Asking, path: str, status: int) -> None:
    answer = ask(path)
    assert answer.status_code == status
    told = answer.json()
    assert set(told) == {"error"}
    assert set(told["error"]) == {"status", "message", "remedy"}
    assert told["error"]["status"] == status
    assert told["error"]["remedy"]


def test_a_database_that_fails_is_a_503_in_the_same_shape(ask: Asking) -> None:
    with ask.store.writer() as connection:
        connection.execute(sa.text("drop table episodes"))
    for path in ("/api/v1/fans", "/api/v1/alerts"):
        answer = ask(path)
        assert answer.status_code == 503
        assert answer.json()["error"]["status"] == 503
        assert "episodes" not in answer.text
    page = ask("/")
    assert page.status_code == 503
    assert "did not answer" in page.text


def test_health_is_well_and_names_no_one(ask: Asking) -> None:
    answer = ask("/health")
    assert answer.status_code == 200
    assert answer.json() == {"state": "well", "why": []}


def _health(ask: Asking) -> tuple[int, dict[str, Any]]:
    answer = ask("/health")
    assert set(answer.json()) == {"state", "why"}
    for name in (LOST, SLIPPING, TIGHT, "Weir"):
        assert name not in answer.text
    return answer.status_code, answer.json()


def test_health_waits_for_the_first_pull(ask_empty: Asking) -> None:
    status, told = _health(ask_empty)
    assert (status, told["state"]) == (503, "waiting")
    assert "pulled" in told["why"][0]


def test_health_is_stale_a_day_and_a_half_after_the_last_pull(ask: Asking) -> None:
    ask.now = NOW + dt.timedelta(hours=33)
    assert _health(ask)[0] == 200
    ask.now = NOW + dt.timedelta(hours=35)
    status, told = _health(ask)
    assert (status, told["state"]) == (503, "stale")
    assert "last pull" in told["why"][0]


def test_health_is_stale_when_the_ledger_stays_behind_the_readings(ask: Asking) -> None:
    with ask.store.writer() as connection:
        later = dt.datetime(2025, 7, 5, tzinfo=dt.UTC)
        connection.execute(sa.update(fan_days).values(last_reading=later))
    status, told = _health(ask)
    assert status == 503
    assert "assess" in told["why"][0]


def test_health_is_stale_when_a_source_stays_down(ask: Asking) -> None:
    (name,) = (source.name for source in load_site(ask.store.state_folder.parent).site.sources)
    for count in range(1, 4):
        with ask.store.writer() as connection:
            note_sources(connection, NOW, {name: "source cannot be reached: no route", "gone": "down"})
        status, told = _health(ask)
        assert status == (503 if count == 3 else 200)
    assert told["why"] == [f"a source of exports has been down for 3 passes, since {NOW:%Y-%m-%d %H:%M} UTC"]


def test_health_fails_without_its_database(ask: Asking) -> None:
    with ask.store.writer() as connection:
        connection.execute(sa.text("drop table daily"))
    status, told = _health(ask)
    assert (status, told["state"]) == (503, "failing")


def _metrics(ask: Asking) -> dict[tuple[str, ...], float]:
    families = list(text_string_to_metric_families(ask("/metrics").text))
    assert all(family.documentation for family in families)
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in families
        for sample in family.samples
    }


def test_the_metrics_say_ages_fans_alerts_and_refusals(ask: Asking) -> None:
    found = _metrics(ask)
    assert found[("slipledger_last_pull_age_seconds",)] == 7200.0
    assert found[("slipledger_well",)] == 1.0
    assert found[("slipledger_fans", "go now")] == 1.0
    assert found[("slipledger_fans", "not judged")] == 0.0
    assert found[("slipledger_open_alerts", "belt_slip", "act")] == 1.0
    assert found[("slipledger_refused_values",)] == 0.0
    assert found[("slipledger_passes_not_assessed",)] == 0.0
    assert ("slipledger_last_assessed_reading_timestamp_seconds",) in found


def test_the_metrics_follow_the_site(ask: Asking) -> None:
    with ask.store.writer() as connection:
        closed = {"closed_on": LAST, "closed_by": "data"}
        connection.execute(sa.update(episodes).where(episodes.c.fan == SLIPPING).values(closed))
        connection.execute(sa.update(passes).values(id=2))
    found = _metrics(ask)
    assert ("slipledger_open_alerts", "belt_slip", "act") not in found
    assert found[("slipledger_passes_not_assessed",)] == 1.0
    assert found[("slipledger_fans", "tight")] == 2.0


def test_the_metrics_of_an_empty_site_leave_out_what_is_unknown(ask_empty: Asking) -> None:
    found = _metrics(ask_empty)
    assert ("slipledger_last_pull_age_seconds",) not in found
    assert found[("slipledger_well",)] == 0.0
