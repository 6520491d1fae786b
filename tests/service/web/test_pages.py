"""What the pages say."""

import datetime as dt
import re
from html.parser import HTMLParser

import pytest
import sqlalchemy as sa

from analytics.vocabulary import Cause
from service.store.alert_tables import alerts
from service.store.ledger_tables import curves, daily, episodes
from service.store.tables import exports, intake, refusals
from service.web.paper import fan_url
from service.words import CAUTION

from .conftest import LAST, LOST, NOW, SLIPPING, TIGHT, Asking, ledger_row

VOID = {"meta", "link", "input", "br", "img", "hr"}


class Page(HTMLParser):
    """Reads a page: its links and sources, its order of fans, and whether every element is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.attributes: list[str] = []
        self.open: list[str] = []
        self.fans: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.attributes += found
        self.addresses += [found[name] or "" for name in ("href", "src", "action") if name in found]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] == ["bdi"] and "a" in self.open and "table" in self.open:
            self.fans.append(data)


def test_the_worst_fan_stands_first(ask: Asking) -> None:
    page = Page(ask("/").text)
    assert page.fans == [LOST, SLIPPING, TIGHT]


@pytest.mark.parametrize("path", ["/", f"/fans/{SLIPPING}", f"/fans/{LOST}", "/nothing", "/?q=nothing"])
def test_a_page_is_whole_asks_nothing_from_elsewhere_and_carries_no_style_or_script(
    ask: Asking, path: str
) -> None:
    text = ask(path).text
    page = Page(text)
    assert page.open == []
    assert all(address.startswith(("/", "#")) and "//" not in address for address in page.addresses)
    assert not [name for name in page.attributes if name == "style" or name.startswith("on")]
    assert "<script" not in text
    assert "<style" not in text
    assert re.search(r"<title>.+</title>", text)
    assert '<html lang="en">' in text


def test_the_fleet_says_its_numbers_its_rule_and_the_cautions(ask: Asking) -> None:
    text = ask("/").text
    assert "<strong>2</strong> of 3 fans want a visit" in text
    assert "by how soon a person is wanted" in text
    assert "6.0" in text
    assert "5.5 to 6.5" in text
    assert "the belt slips" in text
    # 0.6 kW for 12 h a day at 0.12 a kWh: 0.6 x 4380 x 0.12.
    assert "315" in text
    assert CAUTION.split(":", maxsplit=1)[0] in text


def test_a_choice_leaves_the_others_out_and_stays_in_the_form(ask: Asking) -> None:
    assert Page(ask("/?building=Kiln").text).fans == [LOST]
    assert Page(ask("/?standing=tight").text).fans == [TIGHT]
    assert Page(ask("/?q=belt+SLIPS").text).fans == [SLIPPING]
    assert Page(ask("/?q=rf-1+loft").text).fans == [SLIPPING]
    text = ask("/?standing=go-soon&q=mill").text
    assert Page(text).fans == [SLIPPING]
    assert re.search(r'selected value="go-soon"', text)
    assert 'value="mill"' in text


def test_a_column_orders_the_fans_and_an_unknown_order_is_the_worst_first(ask: Asking) -> None:
    assert Page(ask("/?sort=fan").text).fans == [LOST, SLIPPING, TIGHT]
    assert Page(ask("/?sort=cost").text).fans[0] == SLIPPING
    assert Page(ask("/?sort=slip&drive=v_belt").text).fans[0] == SLIPPING
    assert Page(ask("/?sort=nonsense").text).fans == [LOST, SLIPPING, TIGHT]
    assert Page(ask("/?drive=direct").text).fans == []
    assert 'href="/?building=Mill&amp;sort=since"' in ask("/?building=Mill").text


def test_the_alerts_page_gives_age_state_and_the_way_to_the_fan(ask: Asking) -> None:
    text = ask("/alerts").text
    assert "<strong>2</strong> open, 2 of them in nobody" in text
    assert "open 3 days, since 27" in text
    assert f'href="{fan_url(SLIPPING)}"' in text
    answer = ask.send(
        "/alerts", "/alerts/1/handling", what="aside", until="2025-07-10", note="parts <ordered>"
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/alerts#alert-1")
    text = ask("/alerts").text
    assert "set aside until 10" in text
    assert "parts &lt;ordered&gt;" in text
    assert ask.send("/alerts", "/alerts/99/handling", what="in-hand").status_code == 409


@pytest.mark.parametrize(
    ("kind", "topic", "closed", "said"),
    [
        ("belt_slip", "slip past its limit", LAST, "below half its limit for ten judged days"),
        ("drive_lost", "drive lost", LAST, "by the data: the motor turns the wheel again"),
        ("notice", "slip drifting", LAST, "by the data: they no longer show it"),
        # The fan's alert at its limit opened three days ago.
        ("notice", "slip drifting", LAST - dt.timedelta(days=3), "past its limit: an alert took its place"),
    ],
)
def test_a_closed_alert_says_what_the_data_showed(
    ask: Asking, kind: str, topic: str, closed: dt.date, said: str
) -> None:
    with ask.store.writer() as connection:
        told = dict(connection.execute(sa.select(episodes).where(episodes.c.fan == SLIPPING)).one()._mapping)
        opened = LAST - dt.timedelta(days=20)
        told |= {"id": None, "alert_id": 90, "kind": kind, "topic": topic, "opened_on": opened}
        known = {"id": 90, "written_at": NOW, "fan": SLIPPING}
        known |= {name: told[name] for name in ("kind", "topic", "opened_on")}
        connection.execute(sa.insert(alerts), [known])
        connection.execute(sa.insert(episodes), [{**told, "closed_on": closed, "closed_by": "data"}])
    assert said in ask("/alerts").text


def test_a_refused_value_stands_with_its_file_row_column_and_reason(ask: Asking) -> None:
    counts = {
        "rows_read": 3,
        "stored": 2,
        "identical": 0,
        "superseded": 0,
        "refused": 1,
        "missing": 0,
        "unmapped": 4,
    }
    export = {
        "id": 1,
        "sha256": "0" * 64,
        "source": "drop",
        "point_name": "P",
        "file": "june <i>.csv",
        "size": 9,
    }
    read = {"id": 1, "pass_id": 1, "export_id": 1, "file": "june <i>.csv", "source": "drop", "pulled_at": NOW}
    refusal = {
        "pass_id": 1,
        "export_id": 1,
        "row": 7,
        "column": "P1.CFM",
        "value": "n/a?",
        "reason": "no number",
    }
    with ask.store.writer() as connection:
        connection.execute(
            sa.insert(exports), [{**export, "modified_us": 0, "kept_at": NOW, "source_settings": {}}]
        )
        how = {"decided": "wide, comma", "is_named_by_file": False, "source_digest": "0" * 64, "ranked_us": 0}
        connection.execute(sa.insert(intake), [{**read, **counts, **how, "cells": 7}])
        connection.execute(sa.insert(refusals), [{**refusal, "cells": 1}])
    text = ask("/data").text
    for told in (
        "june &lt;i&gt;.csv",
        ">7<",
        "P1.CFM",
        "n/a?",
        "no number",
        "wide, comma",
        "1 value refused",
    ):
        assert told in text, told


def test_pages_without_anything_to_show_teach(ask: Asking) -> None:
    assert "There is no mail before the first reading" in ask("/mail").text
    assert "write an ISO week as 2025-W20" in ask("/mail?week=nonsense").text
    assert "slipledger serve SITE</code> starts one" in ask("/worker").text
    assert "slipledger pull SITE" in ask("/data").text


def test_a_lost_drive_reads_as_lost_not_as_tight(ask: Asking) -> None:
    row = ask(f"/?q={LOST}").text
    assert ">lost<" in row
    assert "drive lost &amp; told" in ask(f"/fans/{LOST}").text


def test_a_fan_page_gives_its_verdict_with_its_evidence(ask: Asking) -> None:
    text = ask(f"/fans/{SLIPPING}").text
    assert "The belt slips. Slip at the reference torque is 6.0 % (95 %: 5.5 to 6.5)" in text
    assert "Check belt tension" in text
    assert "over 99 % sure" in text
    assert "Local codes and licensed practice" in text
    assert "slip past its limit &amp; told" in text
    assert text.count("<figure") == 2  # slip and drive loss; no hours are kept to draw power from


def test_the_charts_are_drawn_anew_when_a_row_changes(ask: Asking) -> None:
    def figures() -> list[str]:
        return re.findall(r"<figure.*?</figure>", ask(f"/fans/{SLIPPING}").text, re.DOTALL)

    before = figures()
    assert figures() == before
    with ask.store.writer() as connection:
        where = (daily.c.fan == SLIPPING) & (daily.c.date == LAST)
        connection.execute(sa.update(daily).where(where).values(slip_ref_pct=8.4, digest="1" * 64))
    assert "8.4" in figures()[0]


def test_a_visit_is_told_with_what_the_readings_say(ask: Asking) -> None:
    visit = LAST - dt.timedelta(days=10)
    log = ask.site.path / "service_log.csv"
    log.write_text(f"fan,date,work,note\n{TIGHT},{visit},retensioned,<i>slack</i>\n", encoding="utf-8")
    with ask.store.writer() as connection:
        slack = (daily.c.fan == TIGHT) & (daily.c.date < visit)
        connection.execute(sa.update(daily).where(slack).values(slip_ref_pct=7.0))
    for path in ("/", f"/fans/{TIGHT}"):
        text = ask(path).text
        assert "retensioned" in text
        assert "put right, and the data agree" in text
        assert "was 7.0 % before it and is 1.1 %" in text
        assert "<i>" not in text
    with ask.store.writer() as connection:
        connection.execute(sa.update(daily).where(daily.c.fan == TIGHT).values(slip_ref_pct=7.0))
    assert "no better by the data" in ask(f"/fans/{TIGHT}").text


def test_a_day_not_judged_says_why(ask: Asking) -> None:
    row = ledger_row(TIGHT, LAST + dt.timedelta(days=1), 1.1, Cause.NOT_JUDGED)
    row.update(slip_pct=None, shares=None, cause_share=None, note="2 steady hours, 3 needed")
    with ask.store.writer() as connection:
        connection.execute(sa.insert(daily), [row])
    for path in ("/", f"/fans/{TIGHT}"):
        assert "2 steady hours, 3 needed" in ask(path).text


def test_an_unknown_fan_names_the_nearest(ask: Asking) -> None:
    answer = ask("/fans/Mill RF-2")
    assert answer.status_code == 404
    assert f"did you mean {SLIPPING}?" in answer.text


def test_before_the_first_pull_the_page_teaches(ask_empty: Asking) -> None:
    text = ask_empty("/").text
    assert "Nothing has been read yet" in text
    for command in ("check", "pull", "points", "assess"):
        assert f"slipledger {command} SITE" in text
    assert TIGHT in text
    fan = ask_empty(f"/fans/{TIGHT}")
    assert fan.status_code == 200
    assert "slipledger pull SITE" in fan.text


def test_a_fan_without_a_healthy_period_says_what_is_missing(ask: Asking) -> None:
    reason = "7 operating days with 3 steady hours; 30 are needed"
    with ask.store.writer() as connection:
        for table in (daily, episodes):
            connection.execute(sa.delete(table).where(table.c.fan == TIGHT))
        row = {"fan": TIGHT, "epoch": 0, "digest": "0" * 64, "reason": reason}
        connection.execute(sa.insert(curves), [row])
    for path in ("/", f"/fans/{TIGHT}"):
        assert reason in ask(path).text


def test_files_changed_while_serving_are_read_again_and_faults_are_told(ask: Asking) -> None:
    ask("/")
    fans = ask.site.path / "fans.csv"
    kept = fans.read_text(encoding="utf-8")
    fans.write_text(kept.replace("v_belt", "string", 1), encoding="utf-8")
    text = ask("/").text
    assert "do not read" in text
    assert "string" in text
    assert Page(text).fans == [LOST, SLIPPING, TIGHT]
    assert ask("/health").status_code == 503
    fans.write_text("\n".join(kept.splitlines()[:-1]) + "\n", encoding="utf-8")
    assert Page(ask("/").text).fans == [SLIPPING, TIGHT]
    assert ask("/health").status_code == 200
