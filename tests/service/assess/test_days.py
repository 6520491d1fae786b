"""Which days have a row, what stands in it, and what it says where nothing can be judged."""

import datetime as dt
from collections.abc import Callable

import pandas as pd
import pytest

from config import load_site
from service.store import open_store
from service.store.ledger_tables import NUMBERS
from tests.service.assess.conftest import (
    FIRST,
    LOST,
    LOST_DAY,
    SLIP_DAY,
    SLIPPING,
    SYNCHRONOUS,
    Plant,
    drawn,
    schedule,
)

DAY = dt.timedelta(days=1)
CARRIED = [name for name in NUMBERS if "_ref_" in name]
# Written out from the agreement on exports, in its order.
DAILY = [
    "fan",
    "date",
    "hours",
    "hours_used",
    "slip_pct",
    "slip_low_pct",
    "slip_high_pct",
    "slip_change_pct",
    "slip_change_low_pct",
    "slip_change_high_pct",
    "slip_ref_pct",
    "slip_ref_low_pct",
    "slip_ref_high_pct",
    "drag_ref_pct",
    "drag_ref_low_pct",
    "drag_ref_high_pct",
    "drive_loss_pct",
    "drive_loss_low_pct",
    "drive_loss_high_pct",
    "drive_loss_change_pct",
    "drive_loss_change_low_pct",
    "drive_loss_change_high_pct",
    "excess_kw",
    "cause",
    "cause_share",
    "note",
]
ALERTS = [
    "fan",
    "kind",
    "level",
    "opened_on",
    "opened_at",
    "act_on",
    "cause",
    "cause_share",
    "closed_on",
    "closed_by",
    "message",
]
CAUSES = [
    "none",
    "belt_slip",
    "drive_lost",
    "drag",
    "ratio_change",
    "wheel",
    "air_path",
    "airflow_sensor",
    "pressure_sensor",
    "current_sensor",
    "speed_not_followed",
    "unclear",
    "not_judged",
]


def test_the_exports_have_the_agreed_columns(whole: Plant) -> None:
    daily, alerts = whole.daily(), whole.alerts()
    assert list(daily.columns) == DAILY
    assert list(alerts.columns) == ALERTS
    assert set(daily["cause"]) <= set(CAUSES)
    assert set(alerts["kind"]) <= {"belt_slip", "drive_loss", "drive_lost", "notice"}
    assert set(alerts["level"]) <= {"watch", "act"}
    assert list(zip(daily["fan"], daily["date"], strict=True)) == sorted(
        zip(daily["fan"], daily["date"], strict=True)
    )


def test_low_and_high_bound_every_number(whole: Plant) -> None:
    daily = whole.daily()
    for name in ("slip", "slip_change", "slip_ref", "drag_ref", "drive_loss", "drive_loss_change"):
        known = daily[daily[f"{name}_pct"].notna()]
        assert (known[f"{name}_low_pct"] <= known[f"{name}_pct"]).all()
        assert (known[f"{name}_pct"] <= known[f"{name}_high_pct"]).all()
    for name in ("slip", "slip_ref", "drive_loss"):
        assert (daily[f"{name}_low_pct"].dropna() >= 0).all()


def test_a_drive_that_cannot_slip_has_none(whole: Plant) -> None:
    daily = whole.daily(SYNCHRONOUS)
    names = [name for name in NUMBERS if name.startswith("slip")]
    assert (daily[names].dropna() == 0.0).all().all()
    assert len(daily[names].dropna()) > 30


def test_a_planted_slip_is_found_and_said(whole: Plant) -> None:
    daily = whole.daily(SLIPPING)
    after = daily[daily["date"] > SLIP_DAY + 3 * DAY]
    before = daily[(daily["date"] > dt.date(2025, 2, 20)) & (daily["date"] < SLIP_DAY)]
    assert after["slip_ref_pct"].mean() > before["slip_ref_pct"].mean() + 2.0
    alerts = whole.alerts(SLIPPING)
    assert list(alerts["kind"]) == ["belt_slip"]


def test_the_healthy_period_is_noted_and_opens_nothing(whole: Plant) -> None:
    daily = whole.daily()
    healthy = daily["date"] <= dt.date(2025, 2, 20)
    assert daily[healthy]["note"].str.startswith("healthy period").all()
    assert not daily[~healthy]["note"].str.contains("healthy period").any()
    assert (whole.alerts()["opened_on"] > dt.date(2025, 2, 20)).all()


def test_until_the_healthy_period_is_over_its_days_say_so(plant: Plant, whole: Plant) -> None:
    plant.assess("2025-02-19")
    daily = plant.daily()
    assert set(daily["cause"]) == {"not_judged"}
    assert daily["note"].str.contains("healthy period is not over: it ends on 2025-02-20").all()
    assert daily[list(NUMBERS)].isna().all().all()
    # No verdict was due, so none is missed.
    assert plant.alerts().empty
    plant.assess("2025-02-20")
    assert "not_judged" not in set(plant.daily(LOST)["cause"])


def test_a_day_with_a_clock_change_has_its_own_hours(whole: Plant) -> None:
    assert whole.row(LOST, dt.date(2025, 3, 9))["hours"] == 23.0
    assert whole.row(LOST, dt.date(2025, 3, 8))["hours"] == 24.0


def test_the_autumn_day_has_twenty_five_hours(new_plant: Callable[..., Plant]) -> None:
    autumn = new_plant(drawn("2025-10-30", 6, 60), baseline=None)
    autumn.drop("all.csv", dt.date(2025, 10, 30), dt.date(2025, 11, 4))
    autumn.pull()
    autumn.assess()
    hours = autumn.daily(LOST).set_index("date")["hours"]
    assert hours[dt.date(2025, 11, 2)] == 25.0
    assert (hours.drop(dt.date(2025, 11, 2)) == 24.0).all()


@pytest.mark.parametrize(("short_minutes", "is_over"), [(0, True), (15, False), (16 * 60, False)])
def test_a_day_is_over_when_read_to_an_interval_of_midnight(
    short_minutes: int, is_over: bool, new_plant: Callable[..., Plant]
) -> None:
    last = dt.date(2025, 1, 23)
    plant = new_plant()
    end = plant.midnight(last + DAY) - dt.timedelta(minutes=short_minutes)
    plant.drop_span("all.csv", plant.midnight(FIRST), end)
    plant.pull()
    plant.assess()
    assert (last in set(plant.daily(LOST)["date"])) is is_over
    # A day past midnight it is over whatever is missing: another fan's readings tell the time.
    others = [run for run in plant.runs if run.plan.name != LOST]
    plant.drop_span("later.csv", plant.midnight(last + DAY), plant.midnight(last + 2 * DAY), others)
    plant.pull()
    plant.assess()
    assert (last in set(plant.daily(LOST)["date"])) is is_over
    begin = plant.midnight(last + 2 * DAY)
    plant.drop_span("past.csv", begin, begin + dt.timedelta(minutes=15), others)
    plant.pull()
    plant.assess()
    assert last in set(plant.daily(LOST)["date"])


def test_a_row_needs_an_hour_of_running(new_plant: Callable[..., Plant]) -> None:
    plant = new_plant(
        baseline=None,
        fans="fan,drive,motor_kw,motor_fla,motor_rpm,speed_point,current_point\nSF-1,v_belt,11,20,1465,spd,amps\n",
    )
    lines = ["Timestamp,spd,amps"]
    for day, quarters in enumerate((3, 4, 0, 96)):
        for quarter in range(96):
            time = dt.datetime(2025, 1, 20, 5) + dt.timedelta(days=day, minutes=15 * quarter)
            running = 40 <= quarter < 40 + quarters or quarters == 96
            lines.append(f"{time:%Y-%m-%dT%H:%M:%SZ},{0.8 if running else 0},{12 if running else 0}")
    (plant.folder / "drop" / "all.csv").write_text("\n".join(lines) + "\n")
    plant.pull()
    plant.assess()
    daily = plant.daily()
    assert list(daily["date"].astype(str)) == ["2025-01-21", "2025-01-23"]
    assert list(daily["hours"]) == [1.0, 24.0]
    assert set(daily["cause"]) == {"not_judged"}


def test_a_healthy_period_without_data_is_a_reason(plant: Plant) -> None:
    cells = {"baseline_from": "2024-12-01", "baseline_to": "2024-12-31"}
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, EF_2=cells))
    plant.assess()
    daily = plant.daily(SYNCHRONOUS)
    assert set(daily["cause"]) == {"not_judged"}
    assert daily["note"].str.contains("no readings in the healthy period").all()
    assert daily[list(NUMBERS)].isna().all().all()
    alerts = plant.alerts(SYNCHRONOUS)
    assert list(alerts["kind"]) == ["notice"]
    assert alerts["opened_on"].iloc[0] == daily["date"].iloc[13]


def test_days_before_the_healthy_period_are_not_judged(plant: Plant) -> None:
    cells = {"baseline_from": "2025-02-08", "baseline_to": "2025-03-01"}
    (plant.folder / "fans.csv").write_text(schedule(plant.runs, EF_2=cells))
    plant.assess()
    daily = plant.daily(SYNCHRONOUS)
    early = daily[daily["date"] < dt.date(2025, 2, 8)]
    assert len(early) > 14
    assert set(early["note"]) == {"before the healthy period"}
    assert early[list(NUMBERS)].isna().all().all()
    assert plant.alerts(SYNCHRONOUS).empty


def test_without_a_given_period_the_first_thirty_steady_days_are_healthy(plant: Plant) -> None:
    plant.declare(baseline=None)
    plant.assess()
    for fan in (SLIPPING, SYNCHRONOUS, LOST):
        daily = plant.daily(fan)
        healthy = daily[daily["note"].str.contains("healthy period")]
        assert len(healthy) == 30
        assert list(healthy["date"]) == list(daily["date"][:30])
    plant.assess("2025-02-10")
    daily = plant.daily(SYNCHRONOUS)
    count = len(daily)
    assert daily["note"].str.contains(f"not over: {count} of 30 days").all()
    assert plant.alerts().empty


def test_a_not_judged_day_carries_the_reference(plant: Plant) -> None:
    date = dt.date(2025, 2, 26)
    plant.log(f"{SLIPPING},{date},,wheel_cleaned")
    plant.assess()
    row, before = plant.row(SLIPPING, date), plant.row(SLIPPING, date - DAY)
    assert row["cause"] == "not_judged"
    assert str(row["note"]).startswith("service that day")
    for name in NUMBERS:
        if name in CARRIED:
            assert row[name] == before[name]
        else:
            assert pd.isna(row[name])
    assert pd.isna(row["cause_share"])


def test_a_service_with_a_time_leaves_the_hours_after_it(plant: Plant) -> None:
    date = dt.date(2025, 2, 26)
    used = plant.row(LOST, date)["hours_used"]
    plant.log(f"{LOST},{date},15:30,retensioned")
    plant.assess()
    row = plant.row(LOST, date)
    assert row["cause"] != "not_judged"
    assert row["hours_used"] == used - 16
    plant.log(f"{LOST},{date},,inspected")
    plant.assess()
    assert plant.row(LOST, date)["hours_used"] == used


def test_later_rows_of_the_schedule_open_a_stretch_only_with_a_period_of_their_own(plant: Plant) -> None:
    text = schedule(plant.runs).splitlines()
    header, rows = text[0].split(","), text[1:]
    own = next(row for row in rows if row.startswith(f"{SYNCHRONOUS},")).split(",")

    def later(**cells: str) -> str:
        names = ["from", *header, *(name for name in cells if name not in header)]
        filled = {"from": "2025-03-01", **dict(zip(header, own, strict=True)), **cells}
        old = [",".join(["", *row.split(","), *[""] * (len(names) - len(header) - 1)]) for row in rows]
        return "\n".join([",".join(names), *old, ",".join(filled[name] for name in names)]) + "\n"

    before = plant.daily(SYNCHRONOUS)
    (plant.folder / "fans.csv").write_text(later())
    plant.assess()
    # The same machine, no period of its own: the first one goes on.
    assert plant.daily(SYNCHRONOUS).equals(before)
    (plant.folder / "fans.csv").write_text(later(baseline_from="2025-03-03", baseline_to="2025-03-15"))
    plant.assess()
    daily = plant.daily(SYNCHRONOUS).set_index("date")
    assert before.set_index("date")[: dt.date(2025, 2, 28)].equals(daily[: dt.date(2025, 2, 28)])
    assert daily.loc[dt.date(2025, 3, 4), "note"] == "healthy period"
    assert daily.loc[dt.date(2025, 3, 18), "cause"] != "not_judged"
    assert plant.query(f"select count(*) from curves where fan = '{SYNCHRONOUS}'") == [(2,)]
    (plant.folder / "fans.csv").write_text(schedule(plant.runs))
    plant.assess()
    assert plant.daily(SYNCHRONOUS).equals(before)
    assert plant.query(f"select count(*) from curves where fan = '{SYNCHRONOUS}'") == [(1,)]


def test_assess_before_the_first_pull_does_nothing(new_plant: Callable[..., Plant]) -> None:
    plant = new_plant()
    assert plant.assess() == ()
    assert plant.daily().empty
    assert plant.alerts().empty
    assert list(plant.alerts().columns) == ALERTS


def test_a_plant_off_the_whole_hour_has_its_own_midnights(new_plant: Callable[..., Plant]) -> None:
    # Adelaide is 10.5 hours ahead in January: an hour of UTC would reach into the next plant day.
    plant = new_plant(baseline=None)
    text = (plant.folder / "site.toml").read_text()
    (plant.folder / "site.toml").write_text(text.replace("America/New_York", "Australia/Adelaide"))
    last = dt.date(2025, 1, 28)
    plant.drop("all.csv", dt.date(2025, 1, 23), last)
    plant.pull()
    plant.assess()
    assert list(plant.daily(LOST)["hours"]) == [24.0] * 6
    site = load_site(plant.folder)
    with open_store(site) as store:
        hours = store.hours.read([LOST], plant.midnight(last), plant.midnight(last + DAY))
    assert set(hours["time"].dt.minute) == {30}
    assert len(hours) == 24


def test_a_lost_drive_counts_hundred_for_the_hours_it_ran_so(whole: Plant) -> None:
    row, after = whole.row(LOST, LOST_DAY), whole.row(LOST, LOST_DAY + DAY)
    assert (row["cause"], after["cause"]) == ("drive_lost", "drive_lost")
    assert 30.0 < float(row["slip_pct"]) < 100.0  # type: ignore[arg-type]
    for name in ("slip_pct", "slip_low_pct", "slip_high_pct", "drive_loss_pct", "slip_ref_pct"):
        assert after[name] == 100.0
    assert row["slip_ref_pct"] == 100.0


def test_a_lost_drives_whole_power_is_excess(whole: Plant) -> None:
    healthy, lost = whole.daily(LOST).pipe(lambda rows: (rows[rows["cause"] == "none"], rows.iloc[-1]))
    assert lost["drive_loss_pct"] == 100.0
    # A motor that turns nothing: what its own readings say it gives, far less than a healthy day's load.
    rated_kw = load_site(whole.folder).epochs(LOST)[0].machine.motor_rated_power_w / 1000.0
    assert 0.0 <= lost["excess_kw"] < 0.1 * rated_kw
    assert healthy["excess_kw"].notna().all()


def test_a_drive_is_lost_within_the_hour(plant: Plant) -> None:
    # Planted at day 57.43: 10:19 in the morning of a fan that always runs.
    plant.assess(f"{LOST_DAY}T10:15")
    assert plant.alerts(LOST).empty
    plant.assess(f"{LOST_DAY}T11:19")
    alert = plant.alerts(LOST).iloc[0]
    assert (alert["kind"], alert["level"], str(alert["opened_on"])) == ("drive_lost", "act", str(LOST_DAY))
    opened = dt.datetime.fromisoformat(alert["opened_at"])
    planted = plant.midnight(FIRST) + dt.timedelta(days=57.43)
    planted -= dt.timedelta(hours=1)
    assert dt.timedelta(0) <= opened - planted <= dt.timedelta(hours=1)
    assert LOST_DAY not in set(plant.daily(LOST)["date"])


def test_a_retrofit_asks_for_a_healthy_period_of_its_own(plant: Plant) -> None:
    plant.log(f"{SLIPPING},2025-03-10,10:00,retrofit")
    plant.assess()
    assert "baseline_from" in str(plant.row(SLIPPING, dt.date(2025, 3, 12))["note"])


def test_work_without_a_time_asks_for_the_time(plant: Plant) -> None:
    plant.log(f"{SLIPPING},2025-03-10,,greased")
    plant.assess()
    assert "without a time" in str(plant.row(SLIPPING, dt.date(2025, 3, 10))["note"])
