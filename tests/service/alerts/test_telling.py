"""What is told at once: once an episode, to whom it concerns, and one notice where many share a cause."""

import datetime as dt
import json
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP
from typing import Any, cast

import pytest

import service.alerts.telling
from service.alerts import keep_alerts, tell_silence
from service.words import CAUTION
from tests.service.alerts.conftest import ALDER, MAIL, NOW, Book

AT = dt.datetime(2025, 6, 13, 17, 0, tzinfo=dt.UTC)
IN_ALDER = tuple(f"F-{n}" for n in range(1, 7))
EVERYONE = tuple(f"F-{n}" for n in range(1, 10))
HOOK = '\n[[hooks]]\nname = "work orders"\nurl = "http://127.0.0.1:9/"\nsecret = "{env:HOOK}"\n'
CREWS = (
    MAIL
    + f"""
[[mail.crews]]
to = ["Alder shop <alder@college.example>"]
buildings = ["{ALDER}"]
trade = "mechanics"

[[mail.crews]]
to = ["controls@college.example"]
trade = "controls"

[[mail.crews]]
to = ["reader@college.example"]
gets = ["weekly"]
"""
)


def parts(row: Any) -> tuple[str, str]:
    message = cast(EmailMessage, message_from_bytes(row.message, policy=SMTP))
    text, html = message.get_body(("plain",)), message.get_body(("html",))
    assert text is not None
    assert html is not None
    return text.get_content(), html.get_content()


def test_a_lost_drive_is_told_once_with_everything_that_is_needed_there(book: Book) -> None:
    book.finds("F-1", "drive_lost", AT)
    book.keep()
    book.keep(NOW + dt.timedelta(hours=1))
    row = book.outbox()[0]
    assert len(book.outbox()) == 1
    assert (row.recipient, row.subject) == ("oncall@college.example", "Go now: F-1: drive lost: Test College")
    for part in parts(row):
        words = " ".join(part.split())
        assert "Alder Hall, Roof." in words
        assert "Stair 2." in words
        assert "controls desk, ext. 4410" in words
        assert "11:00 on 13 Jun 2025" in words  # plant time
        for sentence in CAUTION.split(". "):
            assert sentence.replace("'", "&#39;") in words or sentence in words


def test_a_watch_alert_is_not_told_at_once(book: Book) -> None:
    book.slips("F-1", 1.0, 3.5, 3.5, 3.5)
    book.keep()
    assert book.outbox() == []


def test_a_stop_though_commanded_that_flickers_is_told_once_a_day(book: Book) -> None:
    for hours in (0, 2, 4):
        book.finds("F-1", "stopped", AT + dt.timedelta(hours=hours))
        book.keep(AT + dt.timedelta(hours=hours + 1))
        book.finds("F-1", "stopped", AT + dt.timedelta(hours=hours + 1), is_present=False)
        book.keep(AT + dt.timedelta(hours=hours + 2))
    assert len(book.exported("F-1")) == 3
    assert len(book.outbox()) == 1


def test_an_alert_that_is_over_by_the_time_it_is_seen_is_not_told_at_once(book: Book) -> None:
    book.finds("F-1", "stopped", AT)
    book.finds("F-1", "stopped", AT + dt.timedelta(hours=1), is_present=False)
    book.keep()
    assert book.outbox() == []


def test_each_crew_is_told_of_its_buildings_and_its_trade(book: Book) -> None:
    book.tell(CREWS)
    book.finds("F-1", "drive_lost", AT)
    book.finds("F-2", "unfollowed", AT)
    book.finds("F-8", "drive_lost", AT)
    book.keep()
    told = sorted((row.subject.split(": ")[1], row.recipient) for row in book.outbox())
    assert told == [
        ("F-1", "alder@college.example"),
        ("F-1", "oncall@college.example"),
        ("F-2", "controls@college.example"),
        ("F-2", "oncall@college.example"),
        ("F-8", "oncall@college.example"),
    ]


def test_no_episode_is_written_without_the_mail_it_decides(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.finds("F-1", "drive_lost", AT)

    def stop(*_given: Any) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(service.alerts.telling, "write_once", stop)
    with book.open() as store, pytest.raises(KeyboardInterrupt):
        keep_alerts(book.site, store, NOW)
    assert book.exported().empty
    assert book.history("F-1") == []
    monkeypatch.undo()
    book.keep()
    assert len(book.exported()) == len(book.outbox()) == 1


def test_all_fans_of_a_building_at_once_is_one_notice(book: Book) -> None:
    for fan in IN_ALDER:
        book.finds(fan, "stopped", AT)
    book.finds("F-8", "stopped", AT)
    book.keep()
    book.keep(NOW + dt.timedelta(hours=1))
    common, alone = sorted(book.outbox(), key=lambda row: row.subject, reverse=True)
    assert common.subject.startswith("One cause? 6 of 6 fans of Alder Hall alerted on 13 Jun 2025")
    assert alone.subject.startswith("Go now: F-8")
    for part in parts(common):
        assert all(fan in part for fan in IN_ALDER)
        assert "power cut" in " ".join(part.split())
    # What the data say stays what it is: an episode a fan.
    assert len(book.exported()) == 7


def test_a_flood_in_two_buildings_is_one_notice_of_the_site(book: Book) -> None:
    for fan in EVERYONE:
        book.finds(fan, "stopped", AT)
    book.keep()
    assert [row.subject for row in book.outbox()] == [
        "One cause? 9 of 9 fans of Test College alerted on 13 Jun 2025: Test College"
    ]


@pytest.mark.parametrize(("share", "mails"), [("0.3", 1), ("0.5", 3)])
def test_the_set_share_decides_what_is_a_flood(book: Book, share: str, mails: int) -> None:
    book.tell(f"{MAIL}\n[alerts]\nflood_share = {share}\n")
    # Three of six are more than three tenths and not more than half.
    for fan in IN_ALDER[:3]:
        book.finds(fan, "stopped", AT)
    book.keep()
    assert len(book.outbox()) == mails


def test_many_old_alerts_found_in_one_go_are_one_message(book: Book) -> None:
    for number, fan in enumerate(IN_ALDER[:4]):
        book.slips(fan, *[1.0] * number, 6.0, 6.0, 6.0, 6.0, 6.0, 6.0)
    book.keep()
    assert [row.subject for row in book.outbox()] == [
        "One cause? 4 of 6 fans of Alder Hall were found past a limit: Test College"
    ]


def test_a_source_that_goes_silent_is_one_notice_told_once(book: Book) -> None:
    book.reads(IN_ALDER, AT)
    book.reads(EVERYONE[6:], AT + dt.timedelta(hours=36))
    with book.open() as store:
        for hours in (35, 37, 38, 60):
            tell_silence(book.site, store, AT + dt.timedelta(hours=hours))
    assert [row.subject for row in book.outbox()] == [
        "One cause? 6 of 6 fans of Alder Hall have sent no reading since 13 Jun 2025: Test College"
    ]


def test_one_silent_fan_is_no_notice(book: Book) -> None:
    book.reads(("F-1",), AT)
    book.reads(EVERYONE[1:], NOW)
    with book.open() as store:
        tell_silence(book.site, store, NOW + dt.timedelta(hours=3))
    assert book.outbox() == []


def test_a_clock_that_was_put_forward_is_one_notice(book: Book) -> None:
    book.reads(IN_ALDER, NOW + dt.timedelta(hours=6))
    book.reads(EVERYONE[6:], NOW)
    with book.open() as store:
        tell_silence(book.site, store, NOW)
    assert [row.subject.split(":")[0] for row in book.outbox()] == [
        "One cause? 6 of 6 fans of Alder Hall send readings of the future"
    ]
    assert "clock" in parts(book.outbox()[0])[0]


def test_a_hook_is_told_the_same_as_json(book: Book) -> None:
    book.tell(MAIL + HOOK)
    book.finds("F-1", "drive_lost", AT)
    book.keep()
    row = next(row for row in book.outbox() if row.channel == "hook")
    body = json.loads(row.message)
    assert (row.recipient, body["kind"], body["site"]) == ("work orders", "alert", "Test College")
    assert body["id"] == row.message_id.strip("<>")
    assert body["details"]["fan"] == "F-1"
    assert body["details"]["opened_at"] == "2025-06-13T17:00:00Z"
