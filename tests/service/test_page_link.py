"""A mail about a fan says where its page is, if the site says how its pages are reached."""

from pathlib import Path

import pytest

from config import SiteFolder, load_site
from service.notices import Notice, page_facts
from service.notices.letter import text_of

LONG = "Nord/Süd Lüfter in the loft above the long hall & stairs"


def site_with(folder: Path, further: str) -> SiteFolder:
    (folder / "site.toml").write_text(f'name = "Weir"\ntimezone = "UTC"\n{further}', encoding="utf-8")
    (folder / "fans.csv").write_text(
        f"fan,drive,motor_kw,speed_point\n{LONG},v_belt,7.5,P\n", encoding="utf-8"
    )
    return load_site(folder)


def test_the_address_is_whole_and_leads_to_the_fan(tmp_path: Path) -> None:
    site = site_with(tmp_path, '[web]\npublic_url = "https://fans.example.edu/"\n')
    (fact,) = page_facts(site, LONG)
    assert fact.text.startswith("https://fans.example.edu/fans/Nord%2FS%C3%BCd%20")
    text = text_of(Notice("x", "alert", "s", ("said",), (fact,)), "ask@example.edu")
    assert fact.text in text.split()


@pytest.mark.parametrize("further", ["", "[web]\n"])
def test_without_a_public_address_no_page_is_named(tmp_path: Path, further: str) -> None:
    assert page_facts(site_with(tmp_path, further), LONG) == ()
