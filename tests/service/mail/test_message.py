"""The mail as a message: both parts tell the same, nothing declared can break out of its place."""

import datetime as dt
import re
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.mail import Digest, as_message
from service.notices.headers import message_id
from service.words import one_line
from tests.service.mail.conftest import FANS, WEEK, Ledger

WHEN = dt.datetime(2025, 6, 16, 12, 0, tzinfo=dt.UTC)
SENDER = "Fan Desk <fans@college.example>"
DAY = dt.timedelta(days=1)


class Page(HTMLParser):
    """The words of a page, and every element and attribute it holds."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._is_style = False
        self.feed(source)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._is_style = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._is_style:
            self.words.append(data)

    @property
    def text(self) -> str:
        alts = [attrs.get("alt") or "" for tag, attrs in self.tags if tag == "img"]
        return " ".join(" ".join([*self.words, *alts]).split())


def busy(ledger: Ledger, fans: tuple[str, ...] = FANS) -> Digest:
    """One fan lost, one slipping after work that did not help, a sensor fault, one not judged."""
    names = [row.split(",", 1)[0].strip('"') for row in fans]
    ledger.declare(fans=fans, service=f'"{names[0]}",2025-06-04,retensioned,"<i>tight</i> now"\n')
    site_names = ledger.site.fan_names
    ledger.days(site_names[0], WEEK.first - 28 * DAY, WEEK.last, lambda _: 7.0)
    ledger.days(site_names[1], WEEK.first - 28 * DAY, WEEK.last)
    ledger.episode(site_names[0], "belt_slip", dt.date(2025, 6, 1), act_on=dt.date(2025, 6, 2))
    lost = dt.date(2025, 6, 13)
    ledger.episode(site_names[1], "drive_lost", lost, act_on=lost, cause="drive_lost")
    ledger.episode(site_names[1], "notice", dt.date(2025, 6, 10), cause="pressure_sensor")
    return ledger.digest()


def parts(message: EmailMessage) -> tuple[str, str]:
    read = message_from_bytes(message.as_bytes(), policy=SMTP)
    plain, page = read.get_body(("plain",)), read.get_body(("html",))
    assert plain is not None
    assert page is not None
    return plain.get_content(), page.get_content()


def test_both_parts_hold_every_fact(ledger: Ledger) -> None:
    digest = busy(ledger)
    text, page = parts(as_message(digest, SENDER, ("a@college.example",), WHEN))
    in_text, in_page = " ".join(text.split()), Page(page).text
    told = [fact.text for visit in digest.visits for fact in visit.facts]
    told += [visit.picture.words for visit in digest.visits if visit.picture is not None]
    for entries in (digest.put_right, digest.controls, digest.unseen, digest.on_the_round):
        told += [entry.text for entry in entries]
    told += ["lock out and tag out", "never evidence that a machine is safe to touch", digest.ask]
    assert len(told) > 25
    for said in told:
        words = " ".join(said.split())
        assert words in in_text, said
        assert words in in_page, said


def test_the_parts_nest_as_mail_programs_expect_and_each_picture_is_found(ledger: Ledger) -> None:
    digest = busy(ledger)
    message = as_message(digest, SENDER, ("a@college.example",), WHEN)
    read = message_from_bytes(message.as_bytes(), policy=SMTP)
    assert read.get_content_type() == "multipart/alternative"
    kinds = [part.get_content_type() for part in read.walk()]
    assert kinds[:4] == ["multipart/alternative", "text/plain", "multipart/related", "text/html"]
    pictures = [part for part in read.walk() if part.get_content_type() == "image/png"]
    assert pictures
    page = Page(parts(message)[1])
    named = {(attrs["src"] or "").removeprefix("cid:") for tag, attrs in page.tags if tag == "img"}
    assert named == {part["Content-ID"].strip("<>") for part in pictures}
    assert all(part.get_content()[:8] == b"\x89PNG\r\n\x1a\n" for part in pictures)
    assert all(attrs.get("alt") for tag, attrs in page.tags if tag == "img")


def test_a_page_fetches_nothing_and_runs_nothing(ledger: Ledger) -> None:
    page = parts(as_message(busy(ledger), SENDER, ("a@college.example",), WHEN))[1]
    assert "http" not in page.replace("http-equiv", "")
    assert not {tag for tag, _ in Page(page).tags} & {"script", "link", "iframe", "object", "form", "a"}
    assert "prefers-color-scheme: dark" in page
    assert '<meta name="color-scheme" content="light dark">' in page


LAID_OUT = frozenset(
    ("html", "head", "meta", "title", "style", "body", "table", "tr", "td", "h1", "h2", "p", "span", "br")
) | {"img", "b"}
EVIL = (
    'RF-1"><script>alert(1)</script>',
    "RF-1\r\nBcc: everyone@college.example",
    "RF-1\n\nTo visit: nothing",
    "RF-1 {{ 7 * 7 }} {% raw %}",
    "RF-1 \u202efdp.exe\u2028Subject: x",
    "RF-1 & <b>Söhne</b> Ω",
)


@pytest.mark.parametrize("name", EVIL)
def test_a_fans_name_stays_a_name(ledger: Ledger, name: str) -> None:
    quoted = '"' + name.replace('"', '""') + '"'
    fans = (FANS[1].replace("LEF-1", "EF-9", 1), quoted + FANS[0].removeprefix("RF-1"), FANS[2])
    ledger.declare(fans=fans)
    evil = ledger.site.fan_names[1]
    ledger.days(evil, WEEK.last - 3 * DAY, WEEK.last, lambda _: 7.0)
    opened = WEEK.last - DAY
    ledger.episode(evil, "drive_lost", opened, act_on=opened, cause="drive_lost")
    message = as_message(ledger.digest(), SENDER, ("a@college.example",), WHEN)
    read = message_from_bytes(message.as_bytes(), policy=SMTP)
    assert read["Bcc"] is None
    assert sorted(read.keys()) == sorted(
        ["Subject", "From", "To", "Date", "Message-ID", "Auto-Submitted", "MIME-Version", "Content-Type"]
    )
    text, page = parts(message)
    shown = one_line(evil)
    assert shown in " ".join(text.split())
    assert shown in Page(page).text
    tags = [tag for tag, _ in Page(page).tags]
    assert set(tags) <= LAID_OUT
    assert tags.count("b") == 1  # the one that the cautions begin with
    assert "\u202e" not in text + page


@given(st.text())
def test_declared_text_becomes_one_plain_line(text: str) -> None:
    line = one_line(text)
    assert len(f"{line}x".splitlines()) == 1
    assert line == line.strip()
    assert one_line(line) == line


def test_a_sites_name_cannot_add_a_header(ledger: Ledger) -> None:
    ledger.declare(name="College\\r\\nBcc: everyone@college.example")
    read = message_from_bytes(
        as_message(ledger.digest(), SENDER, ("a@college.example",), WHEN).as_bytes(), policy=SMTP
    )
    assert read["Bcc"] is None
    assert "Bcc: everyone" in read["Subject"]


def test_the_message_id_is_the_same_for_the_same_site_recipient_and_week() -> None:
    first = message_id("Site", ("a@college.example",), str(WEEK), SENDER, "2025-w24")
    assert first == message_id("Site", ("The Manager <A@college.example>",), str(WEEK), SENDER, "2025-w24")
    others = {
        message_id("Other", ("a@college.example",), str(WEEK), SENDER, "2025-w24"),
        message_id("Site", ("b@college.example",), str(WEEK), SENDER, "2025-w24"),
        message_id("Site", ("a@college.example",), "2025-W25", SENDER, "2025-w24"),
    }
    assert len({first, *others}) == 4
    assert re.fullmatch(r"<2025-w24\.[0-9a-f]{20}@college\.example>", first)


def test_long_names_keep_headers_and_content_ids_whole(ledger: Ledger) -> None:
    digest = busy(ledger)
    sender = f"fans@{'very-long-department-name.' * 4}college.example"
    raw = as_message(digest, sender, ("a@college.example",), WHEN).as_bytes()
    assert b"Message-ID: =?" not in raw
    assert b"Content-ID: =?" not in raw
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998  # RFC 5322, section 2.1.1
