"""The retrofit check as a page and in the API: the same answer as the command's, and what to take away."""

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Iterator

import numpy as np
import pytest

from config import load_site
from service.command_line import frame
from service.store import open_store
from service.web.paper import fan_url
from tests.service.assess.conftest import Plant
from tests.service.web.conftest import Asking

from .conftest import AFTER, AMPS, BEFORE, BELT

API = f"/api/v1{fan_url(BELT)}/retrofit?before={BEFORE}&after={AFTER}"
PERIODS = "before_from=2025-02-24&before_to=2025-03-15&after_from=2025-03-18&after_to=2025-04-08"


@pytest.fixture(scope="module")
def ask(site: Plant) -> Iterator[Asking]:
    declared = load_site(site.folder)
    with open_store(declared) as store:
        asking = Asking(declared, store)
        asking.now = dt.datetime(2025, 4, 12, 12, tzinfo=dt.UTC)
        yield asking


def test_the_api_says_what_the_command_says(
    ask: Asking, site: Plant, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--fan", BELT, "--before", BEFORE, "--after", AFTER, "--promised", "4", "--json"]
    with pytest.raises(SystemExit):
        frame.main(["retrofit", str(site.folder), *asked])
    told = json.loads(capsys.readouterr().out)
    (row,) = ask(f"{API}&promised=4").json()
    spread = next(one for one in told.pop("uncertainty") if one["confidence"] == 90)
    assert row == told | spread
    assert row["met"] in ("yes", "no", "not_shown")


def test_the_hours_of_the_api_give_the_saving_again(ask: Asking) -> None:
    (row,) = ask(API).json()
    hours = ask(API.replace("/retrofit?", "/retrofit/hours?")).json()
    used = [one for one in hours if one["period"] == "after" and one["is_used"]]
    power, adjusted = (np.array([one[name] for one in used]) for name in ("power_kw", "adjusted_kw"))
    assert 100 * -np.expm1(np.average(np.log(power / adjusted), weights=power)) == pytest.approx(
        row["saving_pct"], abs=1e-5
    )
    assert hours[0]["time_utc"].endswith("Z")


@pytest.mark.parametrize(
    ("change", "status", "words"),
    [
        ((BELT, "SF-9"), 404, "did you mean"),
        ((AFTER, "2027-03-18..2027-04-08"), 422, "outside the readings"),
        ((AFTER, "2025-03-10..2025-04-08"), 422, "share 2025-03-10"),
        ((AFTER, "soon"), 400, "after"),
        ((f"&after={AFTER}", ""), 400, "after"),
    ],
)
def test_the_api_refuses_what_has_no_answer(
    ask: Asking, change: tuple[str, str], status: int, words: str
) -> None:
    answer = ask(API.replace(*change))
    assert answer.status_code == status
    assert words in str(answer.json()["error"])


def test_the_page_offers_each_logged_change_with_the_weeks_around_it(ask: Asking) -> None:
    text = ask("/retrofit").text
    assert "v belt to synchronous belt" in text
    assert "motor replaced" in text
    link = next(one for one in re.findall(r'href="([^"]+day=[^"]+)"', text) if BELT in one)
    shown = ask(link.replace("&amp;", "&")).text
    assert 'value="2025-02-16"' in shown  # four weeks before the change of 16 March, that day left out
    assert 'value="2025-03-15"' in shown
    assert 'value="2025-03-17"' in shown
    assert "no promise to hold it against" in shown
    assert "<svg" in shown


def test_the_page_shows_the_figures_of_the_api(ask: Asking) -> None:
    (row,) = ask(f"{API}&promised=4").json()
    text = ask(f"/retrofit?fan={BELT}&{PERIODS}&promised=4").text
    assert f"{row['saving_kw']:.2f} kW, {row['saving_pct']:.2f} %" in text
    assert f"{row['low_pct']:.2f} to {row['high_pct']:.2f} %" in text
    assert "Promised 4 %" in text


def test_two_instruments_are_no_saving_on_the_page_either(ask: Asking) -> None:
    text = ask(f"/retrofit?fan={AMPS}&{PERIODS}&promised=3").text
    assert "not shown" in text
    assert "two instruments" in text
    assert "Saving</th>" not in text


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (PERIODS.replace("2025-03-18", "2025-03-01"), "share 2025-03-01"),
        (f"{PERIODS}&promised=much", "is no number"),
        (f"{PERIODS}&promised=120", "between 0 and 100"),
        (f"{PERIODS}&confidence=nan", "from 50 to 99.9"),
        (f"{PERIODS}&basis=fan", "drive or air"),
    ],
)
def test_a_form_that_cannot_be_answered_says_why_and_keeps_what_was_typed(
    ask: Asking, asked: str, words: str
) -> None:
    answer = ask(f"/retrofit?fan={BELT}&{asked}")
    assert answer.status_code == 400
    assert words in answer.text
    assert 'value="2025-02-24"' in answer.text
    assert ask(f"/retrofit/hours.csv?fan={BELT}&{asked}").status_code == 400


def test_report_and_hours_are_taken_away_as_files(ask: Asking) -> None:
    report = ask(f"/retrofit/report.html?fan={BELT}&{PERIODS}&promised=2")
    assert "attachment" in report.headers["content-disposition"]
    assert "Promised 2 %" in report.text
    assert "<script" not in report.text
    taken = ask(f"/retrofit/hours.csv?fan={BELT}&{PERIODS}").text.lstrip("\N{ZERO WIDTH NO-BREAK SPACE}")
    rows = list(csv.DictReader(io.StringIO(taken)))
    assert {row["period"] for row in rows} == {"before", "after"}


def test_a_fan_without_a_change_is_compared_by_dates_alone(ask: Asking, site: Plant) -> None:
    log = (site.folder / "service_log.csv").read_text()
    try:
        site.log()
        text = ask(f"/retrofit?fan={AMPS}").text
    finally:
        (site.folder / "service_log.csv").write_text(log)
    assert "names a change of this fan" in text
    assert ask(f"/retrofit?fan={BELT}&day=2025-01-01").status_code == 404
