"""Every page and form in a real browser: desktop and phone, light, dark and print, by pointer and by keys."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

pytest.importorskip("playwright", reason="the browser's driver is a part of the test extra")

from playwright.sync_api import Browser

from tests.service.databases import copy_site

from .browsing import DESKTOP, PHONE, Visit, browser, chromium, served, visiting
from .conftest import LOST, NOW, SLIPPING, TIGHT
from .pointing import HEARD, Pointing

pytestmark = pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine; .ci/run installs it")
FAN = f"/fans/{quote(SLIPPING, safe='')}"
AT_THE_FAN = ("/", FAN, "/alerts", "/round", "/retrofit", "/data")
PAGES = ("/", "/?q=nothing", "/?sort=slip", FAN, "/alerts", "/round", "/data", "/worker", "/mail")
PAGES += ("/retrofit", f"/retrofit?fan={quote(SLIPPING)}", "/nowhere", "/login")


@pytest.fixture(scope="module")
def address(usual: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("browsed") / "site"
    copy_site(usual, folder)
    with served(folder, NOW) as found:
        yield found


@pytest.fixture(scope="module")
def chrome() -> Iterator[Browser]:
    with browser() as launched:
        yield launched


@pytest.fixture
def desk(chrome: Browser, address: str) -> Iterator[Visit]:
    with visiting(chrome, address, DESKTOP) as visit:
        yield visit


@pytest.mark.parametrize(
    ("paths", "size", "scheme"),
    [(PAGES, DESKTOP, "light"), pytest.param(AT_THE_FAN, PHONE, "dark", marks=pytest.mark.long)],
)
def test_every_page_is_sound_fits_its_window_and_asks_for_nothing_elsewhere(
    chrome: Browser, address: str, paths: tuple[str, ...], size: dict[str, int], scheme: str
) -> None:
    found = {}
    for path in paths:
        with visiting(chrome, address, size, scheme) as visit:
            visit.goto(path)
            faults = [one for one in visit.faults() if not (path == "/nowhere" and "status of 404" in one)]
            if faults:
                found[path] = faults
            assert not [asked for asked in visit.asked if asked.endswith(".js")]
    assert found == {}


def test_on_paper_there_is_the_ledger_and_nothing_to_press(desk: Visit) -> None:
    for path in ("/", FAN, "/alerts", "/round"):
        desk.goto(path)
        desk.page.emulate_media(media="print")
        pressed = desk.page.locator("button, nav.sections, summary, form")
        assert [one for one in pressed.all() if one.is_visible()] == []
        assert desk.page.locator("table, .entry").first.is_visible()
        assert (
            desk.page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
            == "rgb(255, 255, 255)"
        )


def test_a_new_visitor_knows_after_one_click_which_fan_to_visit_and_why(desk: Visit) -> None:
    desk.goto("/")
    first = desk.page.locator("table.fleet tbody th a").first
    assert first.inner_text() == LOST
    first.click()
    assert "drive lost & told" in desk.page.locator(".sentence").inner_text()
    assert "Belt, coupling, sheaves" in desk.page.locator(".to-do").inner_text()


def test_all_can_be_reached_by_keys_and_the_place_is_always_seen(desk: Visit) -> None:
    desk.goto("/")
    desk.page.keyboard.press("Tab")
    assert desk.page.evaluate("document.activeElement.textContent") == "To the page"
    seen = set()
    for _ in range(40):
        desk.page.keyboard.press("Tab")
        name, outline = desk.page.evaluate(
            "[document.activeElement.name || document.activeElement.textContent.trim(),"
            " getComputedStyle(document.activeElement).outlineStyle]"
        )
        if name.startswith("To the page") and len(name) > 20:
            break  # past the last one, the page as a whole has the focus
        seen.add(name)
        assert outline != "none", name
    assert {"Alerts", "building", "q", "Show", SLIPPING} <= seen
    desk.page.get_by_label("Find").focus()
    desk.page.keyboard.type("rf-1")
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_url("**/?*q=rf-1*")
    assert desk.page.locator("table.fleet tbody tr").count() == 1


def test_a_column_orders_the_rows_and_the_choice_stays(desk: Visit) -> None:
    desk.goto("/?building=Mill")
    desk.page.get_by_role("link", name="Slip, %").click()
    desk.page.wait_for_url("**/?building=Mill&sort=slip")
    assert desk.page.locator("[aria-sort]").inner_text().startswith("Slip")
    assert desk.page.locator("table.fleet tbody th a").all_inner_texts() == [SLIPPING, TIGHT]


@pytest.mark.parametrize("size", [DESKTOP, PHONE])
@pytest.mark.long
def test_a_chart_tells_the_day_under_the_pointer_zooms_moves_and_comes_back(
    chrome: Browser, address: str, size: dict[str, int]
) -> None:
    # West of Greenwich, where midnight UTC is still the day before.
    with visiting(chrome, address, size, zone="America/Denver") as visit:
        visit.page.add_init_script(HEARD)
        visit.goto(FAN)
        visit.page.get_by_role("link", name="Look closer").click()
        visit.page.wait_for_selector(".closer canvas")
        charts = visit.page.locator(".closer canvas")
        assert charts.count() == visit.page.locator("figure").count()
        slip = Pointing(visit.page, charts.first)
        assert slip.told(0.0) == {
            "day": "29 May 2025",
            "slip, %": "1.00",
            "from, %": "0.50",
            "to, %": "1.50",
        }
        assert slip.told(1.0) == {
            "day": "30 Jun 2025",
            "slip, %": "6.00",
            "from, %": "5.50",
            "to, %": "6.50",
        }
        whole, middle = slip.days_on_the_axis(), slip.day(0.5)
        slip.wheel(0.5)
        assert slip.day(0.0) > dt.date(2025, 5, 29)
        assert slip.day(1.0) < dt.date(2025, 6, 30)
        near = slip.days_on_the_axis()
        assert whole[0] < near[0] < near[-1] < whole[-1]
        slip.drag(0.5, 0.8)
        assert slip.day(0.8) == middle
        slip.twice(0.5)
        assert slip.day(1.0) == dt.date(2025, 6, 30)
        assert Pointing(visit.page, charts.nth(1)).told(1.0)["day"] == "30 Jun 2025"
        assert visit.faults() == []


def test_an_alert_is_taken_in_hand_and_a_form_that_lacks_something_says_what(desk: Visit) -> None:
    desk.goto("/alerts")
    entry = desk.page.locator(".entry").filter(has_text=SLIPPING)
    entry.locator("summary").click()
    entry.get_by_role("button", name="Set aside").click()
    assert "Setting an alert aside wants a date." in desk.page.locator("h1").inner_text()
    desk.page.go_back()
    entry.locator("summary").click()
    entry.get_by_label("Note").fill("Ann goes on <Tuesday>")
    entry.get_by_role("button", name="Take in hand").click()
    desk.page.wait_for_url("**/alerts#alert-*")
    entry = desk.page.locator(".entry").filter(has_text=SLIPPING)
    assert "in hand by someone at the server: Ann goes on <Tuesday>" in entry.inner_text()


def test_service_is_entered_and_a_faulty_entry_keeps_what_was_typed(desk: Visit) -> None:
    desk.goto(f"/fans/{quote(TIGHT, safe='')}")
    form = desk.page.locator(".service-form")
    form.get_by_label("Work").select_option("retensioned")
    form.get_by_label("Date").fill("2025-06-30")
    form.get_by_label("Motor, rpm").fill("fast")
    form.get_by_label("Note").fill("left at 2 kg")
    form.get_by_role("button").click()
    assert "Nothing was entered" in desk.page.get_by_role("alert").inner_text()
    assert "motor_rpm" in desk.page.get_by_role("alert").inner_text()
    form = desk.page.locator(".service-form")
    assert form.get_by_label("Note").input_value() == "left at 2 kg"
    form.get_by_label("Motor, rpm").fill("1750")
    form.get_by_label("Wheel, rpm").fill("1010")
    form.get_by_role("button").click()
    desk.page.wait_for_url("**#service-title")
    table = desk.page.locator("section[aria-labelledby=service-title] table")
    assert "left at 2 kg" in table.inner_text()
    assert "30 Jun 2025" in table.inner_text().replace("\N{NO-BREAK SPACE}", " ")
