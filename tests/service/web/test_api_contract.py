"""The contract of /api/v1: its routes and fields stay; rows come in pages, in three kinds, and once."""

import io
from typing import Any

import pandas as pd
import pyarrow.parquet as pq
import pytest
import sqlalchemy as sa

from service.access import changes_of
from service.assess.exports import export_daily
from service.store.ledger_tables import daily

from .conftest import LOST, SLIPPING, TIGHT, Asking

# What was promised. Lines may be added to it and none taken away.
PROMISED = {
    "GET /api/v1/fans": "limit offset",
    "GET /api/v1/fans/{fan}/daily": "fan from to limit offset",
    "GET /api/v1/fans/{fan}/readings": "fan from to limit",
    "GET /api/v1/fans/{fan}/costs": "fan",
    "GET /api/v1/fans/{fan}/remedies": "fan",
    "GET /api/v1/fans/{fan}/retrofit": "fan before after promised confidence basis",
    "GET /api/v1/fans/{fan}/retrofit/hours": "fan before after basis limit offset",
    "POST /api/v1/fans/{fan}/service": "fan",
    "GET /api/v1/alerts": "fan open limit offset",
    "GET /api/v1/alerts/{number}/history": "number",
    "POST /api/v1/alerts/{number}/acknowledge": "number",
    "POST /api/v1/alerts/{number}/shelve": "number",
    "POST /api/v1/alerts/{number}/take-up": "number",
    "POST /api/v1/alerts/{number}/close": "number",
    "POST /api/v1/alerts/{number}/service": "number",
    "GET /api/v1/round": "date quarter building limit offset",
    "GET /api/v1/intake": "limit offset",
    "GET /api/v1/service": "fan limit offset",
    "GET /api/v1/jobs": "limit offset",
    "GET /health": "",
    "GET /metrics": "",
}
PROMISED_FIELDS = {
    "FanRow": "fan building standing date judged_on slip_ref_pct slip_ref_low_pct slip_ref_high_pct"
    " drag_ref_pct drag_ref_low_pct drag_ref_high_pct excess_kw cost_a_year currency cause cause_share note"
    " seen least_slip_pct best_point points_not_used since open_alerts page",
    "DailyRow": "fan date hours hours_used slip_pct slip_low_pct slip_high_pct slip_change_pct"
    " slip_change_low_pct slip_change_high_pct slip_ref_pct slip_ref_low_pct slip_ref_high_pct"
    " drag_ref_pct drag_ref_low_pct drag_ref_high_pct drive_loss_pct drive_loss_low_pct drive_loss_high_pct"
    " drive_loss_change_pct drive_loss_change_low_pct drive_loss_change_high_pct excess_kw cause cause_share"
    " note",
    "AlertRow": "fan kind level opened_on opened_at act_on cause cause_share closed_on closed_by message"
    " number handling",
    "HistoryRow": "number aspect old new true_from who why until",
    "ReadingRow": "fan time_utc speed_fraction current_a power_kw airflow_m3s pressure_pa air_temperature_c"
    " running",
    "IntakeRow": "file source pulled_at rows_read stored identical superseded refused missing unmapped"
    " decided",
    "ServiceRow": "fan date time work role motor_rpm fan_rpm speed_fraction no_load_a note",
    "JobRow": "job due started ended outcome error",
    "CostRow": "fan currency running_hours line_kwh energy_kwh energy_low_kwh energy_high_kwh slip_kwh"
    " slip_low_kwh slip_high_kwh drag_kwh drag_low_kwh drag_high_kwh money money_low money_high co2_kg"
    " co2_low_kg co2_high_kg limited_hours air_lost_pct air_lost_low_pct air_lost_high_pct air_lost_m3s"
    " meter_falls_kwh healthy_kwh healthy_low_kwh healthy_high_kwh healthy_money",
    "RemedyRow": "remedy currency price price_low price_high saves_kwh saves_low_kwh saves_high_kwh"
    " saves_money saves_low_money saves_high_money payback_years payback_low_years payback_high_years mind",
    "RetrofitRow": "fan before after basis basis_reason changed power saving_kw saving_pct low_pct high_pct"
    " confidence promised_pct met reason more_days cautions outside_changes days_left_out"
    " adjusted_before_kw after_kw inside_before_range_pct hours_before hours_after days_before days_after"
    " fraction_of_saving guideline_14_fraction_of_saving bootstrap_low_pct bootstrap_high_pct"
    " saving_kwh_year saving_kwh_year_low saving_kwh_year_high hours_year saving_money_year"
    " saving_money_year_low saving_money_year_high currency restored_kw restored_low_kw restored_high_kw"
    " renewed_kw renewed_low_kw renewed_high_kw meter_before_kw meter_after_kw same_command_change_pct",
    "RetrofitHourRow": "period time_utc speed_fraction airflow_m3s pressure_pa density_ratio power_kw"
    " adjusted_kw is_used",
    "RoundRow": "group fan building standing tell_first look_for due done check_figure tight_rpm inferred_rpm"
    " parts belt_tension costs",
    "ErrorPart": "status message remedy",
}


@pytest.fixture
def described(ask: Asking) -> dict[str, Any]:
    found: dict[str, Any] = ask("/openapi.json").json()
    return found


def test_no_route_or_parameter_that_was_promised_is_gone(described: dict[str, Any]) -> None:
    for promise, parameters in PROMISED.items():
        method, path = promise.split()
        operation = described["paths"][path][method.lower()]
        assert set(parameters.split()) <= {one["name"] for one in operation.get("parameters", [])}
        assert operation["summary"]
        if path.startswith("/api/"):
            assert operation["security"] == [{"token": []}]


def test_no_field_that_was_promised_is_gone(described: dict[str, Any]) -> None:
    for table, fields in PROMISED_FIELDS.items():
        assert set(fields.split()) <= set(described["components"]["schemas"][table]["properties"])


def test_the_description_says_what_stays_and_gives_examples(described: dict[str, Any]) -> None:
    assert "never renamed, removed" in described["info"]["description"]
    for name, table in described["components"]["schemas"].items():
        if name.endswith(("Row", "In")):
            assert any("examples" in field for field in table["properties"].values()), name


def test_the_page_for_programs_names_every_route(ask: Asking) -> None:
    page = ask("/api").text
    assert all(promise.split()[1] in page for promise in PROMISED)
    assert "http://" not in page.replace("http://www.w3.org", "")


def test_a_table_comes_as_csv_exactly_as_the_command_line_writes_it(ask: Asking) -> None:
    answer = ask(f"/api/v1/fans/{SLIPPING}/daily", headers={"accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.text == export_daily(ask.store, SLIPPING).to_csv(index=False)


def test_a_table_comes_as_parquet_with_the_same_values(ask: Asking) -> None:
    for path in ("/api/v1/fans", "/api/v1/alerts", f"/api/v1/fans/{SLIPPING}/daily", "/api/v1/intake"):
        packed = ask(path, headers={"accept": "application/vnd.apache.parquet, application/json;q=0.5"})
        read = pq.read_table(io.BytesIO(packed.content)).to_pandas()
        rows = ask(path).json()
        assert len(read) == len(rows)
        if rows:
            numbers = [name for name in read if isinstance(rows[0][name], float)]
            pd.testing.assert_frame_equal(read[numbers], pd.DataFrame(rows)[numbers])


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("", "application/json"),
        ("*/*", "application/json"),
        ("text/*", "text/csv"),
        ("text/csv;q=0.1, application/json;q=0.9", "application/json"),
        ("text/html, */*;q=0.1", "application/json"),
        ("application/json;q=0, */*", "text/csv"),
        ("image/png", None),
        ("application/json;q=nonsense", None),
    ],
)
def test_the_kind_wanted_most_is_given(ask: Asking, accept: str, kind: str | None) -> None:
    # RFC 9110, section 12.5.1: the weights of an Accept header; 0 is "not acceptable".
    answer = ask("/api/v1/fans", headers={"accept": accept})
    assert answer.status_code == (406 if kind is None else 200)
    assert answer.headers["content-type"].split(";")[0] == (kind or "application/json")


def test_the_pages_joined_are_the_whole(ask: Asking) -> None:
    for path in (f"/api/v1/fans/{SLIPPING}/daily", "/api/v1/fans", "/api/v1/alerts"):
        whole, joined, onward = ask(path).json(), [], f"{path}?limit=2"
        while onward:
            answer = ask(onward)
            joined += answer.json()
            onward = answer.headers.get("link", "").partition(">")[0].removeprefix("<")
        assert joined == whole


def test_days_are_chosen_by_date(ask: Asking) -> None:
    rows = ask(f"/api/v1/fans/{SLIPPING}/daily?from=2025-06-28&to=2025-06-29").json()
    assert [row["date"] for row in rows] == ["2025-06-28", "2025-06-29"]


def test_what_has_not_changed_is_not_sent_again(ask: Asking) -> None:
    path = f"/api/v1/fans/{SLIPPING}/daily"
    first = ask(path)
    again = ask(path, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    as_csv = ask(path, headers={"if-none-match": first.headers["etag"], "accept": "text/csv"})
    assert as_csv.status_code == 200
    with ask.store.writer() as connection:
        connection.execute(sa.update(daily).where(daily.c.fan == SLIPPING).values(slip_ref_pct=7.5))
    assert ask(path, headers={"if-none-match": first.headers["etag"]}).status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/api/v1/fans?limit=0",
        "/api/v1/fans?limit=10001",
        "/api/v1/fans?offset=-1",
        f"/api/v1/fans/{TIGHT}/daily?from=yesterday",
        f"/api/v1/fans/{TIGHT}/readings?from=2025-07-01T00:00:00",
    ],
)
def test_what_cannot_be_asked_is_said_in_the_one_shape(ask: Asking, path: str) -> None:
    answer = ask(path)
    assert answer.status_code == 400
    assert set(answer.json()["error"]) == {"status", "message", "remedy"}


def test_an_alert_is_taken_in_hand_set_aside_taken_up_and_ended(ask: Asking) -> None:
    number = ask(f"/api/v1/alerts?fan={SLIPPING}").json()[0]["number"]
    path = f"/api/v1/alerts/{number}"
    assert ask(f"{path}/acknowledge", "POST", json={"note": "belts ordered"}).status_code == 200
    assert ask(f"/api/v1/alerts?fan={SLIPPING}").json()[0]["handling"] == "in hand"
    for action, said in (
        ("shelve", {"until": "2025-08-01", "note": "shutdown"}),
        ("take-up", {}),
        ("close", {"note": "out of service"}),
    ):
        assert ask(f"{path}/{action}", "POST", json=said).status_code == 200
    told = ask(f"{path}/history").json()
    assert [row["new"] for row in told] == ["in hand", "set aside", "untouched", "over", "over"]
    assert {row["who"] for row in told} == {"someone at the server"}
    assert ask(f"/api/v1/alerts?fan={SLIPPING}&open=true").json() == []
    late = ask(f"{path}/acknowledge", "POST", json={})
    assert (late.status_code, "was over" in late.text) == (409, True)
    assert ask("/api/v1/alerts/999/close", "POST", json={"note": "x"}).status_code == 404


def test_service_is_entered_once_checked_and_kept_with_who(ask: Asking) -> None:
    path = f"/api/v1/fans/{SLIPPING}/service"
    done = {"date": "2025-07-01", "time": "10:30", "work": "retensioned", "motor_rpm": 1755, "fan_rpm": 902}
    assert ask(path, "POST", json=done).json()["work"] == "retensioned"
    assert ask(f"/api/v1/service?fan={SLIPPING}").json()[0]["motor_rpm"] == 1755.0
    assert changes_of(ask.store, 1)[0].what == "service entered: retensioned on 2025-07-01"
    faulty = ask(path, "POST", json={"date": "2025-07-01", "work": "inspected", "speed": 300})
    assert faulty.status_code == 422
    assert faulty.json()["error"]["remedy"]
    assert ask(path, "POST", json={**done, "colour": "red"}).status_code == 400
    assert len(ask("/api/v1/service").json()) == 1
    number = ask(f"/api/v1/alerts?fan={LOST}").json()[0]["number"]
    for_alert = ask(f"/api/v1/alerts/{number}/service", "POST", json={**done, "work": "belt_replaced"})
    assert (for_alert.status_code, for_alert.json()["fan"]) == (201, LOST)
