"""The order of going, what each sheet says, and that nothing is invented where nothing is known."""

import csv
import datetime as dt
import io
from pathlib import Path

import pytest
import sqlalchemy as sa

from config import load_site
from config.folder import SiteFolder
from service.failure import WorkFailed
from service.round import Quarter, plan_round, quarter_of, round_csv, round_text
from service.round.fields import COLUMNS
from service.round.plan import FanSheet
from service.store import Store
from service.store.ledger_tables import daily

LOG = "fan,date,work,note\n"


def sheet_of(site: SiteFolder, store: Store, fan: str, day: dt.date | None = None) -> FanSheet:
    return next(sheet for sheet in plan_round(site, store, day).sheets if sheet.fan == fan)


def how(sheet: FanSheet) -> dict[str, str]:
    return {item.what: item.how for item in sheet.items}


def with_log(folder: Path, *rows: str) -> SiteFolder:
    (folder / "service_log.csv").write_text(LOG + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return load_site(folder)


def test_it_goes_by_building_and_in_the_order_of_the_round(site: SiteFolder, store: Store) -> None:
    groups = plan_round(site, store).groups
    assert [(name, [sheet.fan for sheet in sheets]) for name, sheets in groups] == [
        ("Ash", ["A-1 whole", "A-2 slack"]),
        ("Birch", ["B-1 first", "B-2 late"]),
    ]


def test_a_building_alone_can_be_asked_for(site: SiteFolder, store: Store) -> None:
    assert [sheet.fan for sheet in plan_round(site, store, building="Ash").sheets] == [
        "A-1 whole",
        "A-2 slack",
    ]


def test_the_published_drive_is_on_the_sheet(site: SiteFolder, store: Store) -> None:
    """Sheaves of 4 and 12 in at 24 in: span 23.66 in, deflection 0.370 in (web pages); half a degree."""
    said = how(sheet_of(site, store, "A-1 whole"))
    assert "601 mm (23.7 in) span by 9.4 mm (0.37 in)" in said["Belt tension"]
    assert "within 5.1 mm (0.20 in) here" in said["Sheave alignment"]
    assert "carries the motor's rated power" in said["Belt tension"]


def test_the_published_bearing_is_on_the_sheet(site: SiteFolder, store: Store) -> None:
    """A ball bearing of 50 mm at 590 rpm by the published formula: 10 (14e6 / (590 sqrt 50) - 200) h."""
    hours = 10.0 * (14e6 / (590.0 * 50.0**0.5) - 200.0)
    assert f"{min(hours, 26_280.0):,.0f} running hours" in how(sheet_of(site, store, "A-1 whole"))["Bearings"]


def test_what_is_not_known_is_a_blank_and_no_number(site: SiteFolder, store: Store) -> None:
    sheet = sheet_of(site, store, "B-2 late")
    assert "span: ______" in sheet.tension
    assert "force a belt: ______" in sheet.tension
    assert sheet.parts.startswith("____ belts: section ______, ______")
    assert "8.3 mm a metre" in how(sheet)["Sheave alignment"]
    assert how(sheet)["Bearings"].startswith("greased or sealed: ______")
    assert sheet.tight_rpm is None


def test_a_direct_drive_has_its_own_short_list(site: SiteFolder, store: Store) -> None:
    sheet = sheet_of(site, store, "B-1 first")
    assert not any("elt" in what for what in how(sheet))
    assert how(sheet)["Bearings"] == "sealed: none; noise, heat and play only"
    assert sheet.parts == "no belts: a direct drive"
    assert sheet.remedies == ()


def test_belts_are_brought_as_one_matched_set(site: SiteFolder, store: Store) -> None:
    assert sheet_of(site, store, "A-1 whole").parts.startswith("2 belts: section B, B81, one matched set")


def test_who_must_be_told_is_told(site: SiteFolder, store: Store) -> None:
    sheet = sheet_of(site, store, "A-1 whole")
    assert sheet.is_critical
    assert "Life safety" in sheet.tell_first


def test_new_belts_are_rechecked_after_a_day_or_two(folder: Path, store: Store) -> None:
    site = with_log(folder, "A-1 whole,2025-06-20,belt_replaced,")
    due = sheet_of(site, store, "A-1 whole", dt.date(2025, 6, 21)).due
    assert any("recheck the tension after 24 to 48 h" in words and "due" in words for words in due)
    assert any("overdue" in words for words in sheet_of(site, store, "A-1 whole").due)
    rechecked = with_log(folder, "A-1 whole,2025-06-20,belt_replaced,", "A-1 whole,2025-06-22,inspected,")
    assert not any("recheck" in words for words in sheet_of(rechecked, store, "A-1 whole").due)


def test_each_item_says_how_long_ago_it_was_done(folder: Path, store: Store) -> None:
    site = with_log(folder, "A-1 whole,2025-05-31,aligned,", "A-1 whole,2025-07-04,aligned,")
    items = {item.what: item for item in sheet_of(site, store, "A-1 whole").items}
    assert items["Sheave alignment"].last_words == "31 May 2025, 30 days ago"
    assert items["Belt tension"].last_words == "not in the log"


def test_grease_is_due_by_the_hours_run(folder: Path, store: Store) -> None:
    site = with_log(folder, "A-1 whole,2025-05-31,greased,")
    assert any("about 360 of" in words for words in sheet_of(site, store, "A-1 whole").due)


def test_work_without_effect_is_said(folder: Path, store: Store) -> None:
    site = with_log(folder, "B-2 late,2025-06-12,retensioned,")
    assert any("no better by the data" in words for words in sheet_of(site, store, "B-2 late").due)


def test_slip_that_went_away_by_itself_asks_for_an_entry(folder: Path, store: Store) -> None:
    since = dt.date(2025, 6, 20)
    with store.writer() as connection:
        healed = (daily.c.fan == "B-2 late") & (daily.c.date >= since)
        connection.execute(sa.update(daily).where(healed).values(slip_ref_pct=1.1))
    words = sheet_of(load_site(folder), store, "B-2 late").due
    assert any("20 Jun 2025 with no work in the log" in one for one in words)
    logged = with_log(folder, "B-2 late,2025-06-19,retensioned,")
    assert not any("no work in the log" in one for one in sheet_of(logged, store, "B-2 late").due)


def test_the_cost_is_on_the_sheet_with_the_healthy_belt_apart(site: SiteFolder, store: Store) -> None:
    """5 kW over 4000 h, 1.1 kW of line each: 22 000 kWh; 5 % above creep and 0.5 % of drag cost it."""
    words = sheet_of(site, store, "B-2 late").cost
    expected = 22_000.0 * (1.0 / 0.95 - 1.0)
    assert f"slip {expected:,.0f} kWh, drag 110 kWh" in words
    assert "A healthy drive of its kind loses about 1,100 kWh (660 to 1,760)" in words


def test_remedies_carry_prices_savings_and_paybacks(site: SiteFolder, store: Store) -> None:
    remedies = {remedy.name: remedy for remedy in sheet_of(site, store, "B-2 late").remedies}
    assert list(remedies) == [
        "retension",
        "new belts",
        "cogged belts",
        "automatic tensioner",
        "synchronous belt",
        "direct drive",
    ]
    tension = remedies["retension"]
    saved = 0.12 * 22_000.0 * (1.0 / 0.95 - 1.0)
    assert tension.money.centre == pytest.approx(saved)
    assert tension.payback_years is not None
    assert tension.payback_years.centre == pytest.approx(75.0 / saved)
    assert tension.payback_years.low < tension.payback_years.centre < tension.payback_years.high
    assert any("one of more poles" in note for note in remedies["direct drive"].notes)
    assert any("cube of speed" in note for note in remedies["synchronous belt"].notes)
    other = {remedy.name: remedy for remedy in sheet_of(site, store, "A-2 slack").remedies}
    assert list(other) == ["direct drive"]


def test_the_sheet_is_one_row_a_fan_with_the_columns_to_fill(site: SiteFolder, store: Store) -> None:
    rows = list(csv.DictReader(io.StringIO(round_csv(plan_round(site, store)))))
    assert [row["fan"] for row in rows] == ["A-1 whole", "A-2 slack", "B-1 first", "B-2 late"]
    assert tuple(rows[0]) == COLUMNS
    assert all(row["left_wheel_rpm"] == "" for row in rows)


def test_the_text_says_the_cautions_before_any_fan(site: SiteFolder, store: Store) -> None:
    text = round_text(plan_round(site, store))
    assert "May be done: retension: 75 USD, saves " in text
    assert text.index("local isolator") < text.index("A-1 whole")
    for caution in (
        "label",
        "Block the wheel",
        "never pry",
        "strobe",
        "smoke-control",
        "confined space",
        "17 % more",
    ):
        assert caution in text


def test_a_quarter_is_read_and_says_what_was_done_in_it(folder: Path, store: Store) -> None:
    site = with_log(folder, "A-1 whole,2025-05-31,greased,two strokes", "A-1 whole,2025-03-31,aligned,")
    planned = plan_round(site, store, Quarter.parse("2025-Q2"))
    sheet = next(one for one in planned.sheets if one.fan == "A-1 whole")
    assert planned.day == dt.date(2025, 6, 30)
    assert sheet.done == ("31 May greased: two strokes",)
    assert (Quarter(2025, 4).first, Quarter(2025, 4).last) == (dt.date(2025, 10, 1), dt.date(2025, 12, 31))
    assert str(quarter_of(dt.date(2025, 9, 30))) == "2025-Q3"
    with pytest.raises(ValueError, match="not a quarter"):
        Quarter.parse("2025-Q5")


def test_a_day_before_the_ledger_is_refused(site: SiteFolder, store: Store) -> None:
    with pytest.raises(WorkFailed, match="no day up to 2024-01-01"):
        plan_round(site, store, dt.date(2024, 1, 1))
