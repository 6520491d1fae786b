"""The delivery loop against a real mail server and a real web server: pauses, refusals, stops, signatures."""

import datetime as dt
import hashlib
import hmac
import http.server
import json
import smtplib
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import sqlalchemy as sa

import service.mail.delivering
from service.mail import announce, deliver
from service.store.mail_tables import outbox
from service.store.outbox import due, queue, write_once
from tests.service.databases import database_line
from tests.service.mail.conftest import Ledger
from tests.service.mail.test_send import Server, serving

__all__ = ["serving"]

NOW = dt.datetime(2025, 6, 16, 12, 0, tzinfo=dt.UTC)
SECRET = "a secret of the two"
Serving = Callable[..., tuple[Server, int]]


class Receiver(http.server.BaseHTTPRequestHandler):
    """Keeps what it is posted and answers as it is told."""

    def do_POST(self) -> None:
        server: Any = self.server
        body = self.rfile.read(int(self.headers["Content-Length"]))
        server.got.append((self.path, dict(self.headers), body))
        answer = server.answers.pop(0) if server.answers else 204
        self.send_response(answer)
        if answer in (301, 302, 307, 308):
            self.send_header("Location", "/elsewhere")
        self.end_headers()

    def log_message(self, *_given: Any) -> None:
        """Say nothing."""


@pytest.fixture
def receiver() -> Iterator[Any]:
    server: Any = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    server.got, server.answers = [], []
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def declare(ledger: Ledger, smtp: str = "smtp://127.0.0.1:9", hook: str = "") -> None:
    text = database_line(ledger.folder) + 'name = "Test College"\ntimezone = "America/Denver"\n'
    if smtp:
        text += f'[mail]\nfrom = "fans@college.example"\nimmediate = ["a@college.example"]\nsmtp = "{smtp}"\n'
    if hook:
        text += f'[[hooks]]\nname = "orders"\nurl = "{hook}"\nsecret = "{{file:secret}}"\n'
    (ledger.folder / "secret").write_text(SECRET)
    (ledger.folder / "site.toml").write_text(text)


def tell(ledger: Ledger, occasion: str = "source:nightly", now: dt.datetime = NOW) -> bool:
    with ledger.open() as store:
        return announce(ledger.site, store, occasion, "The source nightly is down", ("Look at it.",), now)


def go(ledger: Ledger, now: dt.datetime) -> Any:
    with ledger.open() as store:
        return deliver(store, ledger.site, now)


def rows(ledger: Ledger) -> list[Any]:
    with ledger.open() as store, store.reader() as connection:
        return list(connection.execute(sa.select(outbox).order_by(outbox.c.id)))


def test_three_days_of_refusals_lose_nothing_and_do_not_hammer_the_server(
    ledger: Ledger, serving: Serving
) -> None:
    server, port = serving()
    declare(ledger, f"smtp://127.0.0.1:{port}")
    tell(ledger)
    server.dies_after = 0  # 421 to everything
    site, step = ledger.site, dt.timedelta(minutes=15)
    with ledger.open() as store:
        for number in range(3 * 24 * 4):
            deliver(store, site, NOW + number * step)
        with store.reader() as connection:
            waiting = queue(connection)
        assert (waiting.waiting, waiting.oldest, waiting.given_up) == (1, NOW, 0)
        assert "421" in str(waiting.reason)
        server.dies_after = None
        for number in range(3 * 24 * 4, 3 * 24 * 4 + 20):
            deliver(store, site, NOW + number * step)
    assert len(server.got) == 1
    sent = rows(ledger)[0]
    assert server.ids == [sent.message_id]
    # Doubling from a minute, seen every quarter of an hour, and then every four hours.
    assert 20 <= sent.attempts <= 30
    assert sent.sent_at - NOW < dt.timedelta(days=3, hours=5)


def test_what_is_refused_for_good_is_not_tried_again_and_can_be_seen(
    ledger: Ledger, serving: Serving
) -> None:
    server, port = serving()
    server.refused = {"a@college.example"}
    declare(ledger, f"smtp://127.0.0.1:{port}")
    tell(ledger)
    done = go(ledger, NOW)
    assert (done.sent, done.waiting, done.given_up) == (0, 0, 1)
    for days in range(1, 4):
        assert go(ledger, NOW + dt.timedelta(days=days)).given_up == 0
    row = rows(ledger)[0]
    assert (row.attempts, row.given_up_at, row.sent_at) == (1, NOW, None)
    with ledger.open() as store, store.reader() as connection:
        state = queue(connection)
    assert (state.waiting, state.given_up) == (0, 1)
    assert state.reason == "it refused the recipient (550 5.1.1 no such mailbox)"


def test_a_passing_refusal_of_one_recipient_keeps_no_other_waiting(ledger: Ledger, serving: Serving) -> None:
    server, port = serving()
    server.greylisted = {"a@college.example"}
    declare(ledger, f"smtp://127.0.0.1:{port}")
    text = (ledger.folder / "site.toml").read_text()
    (ledger.folder / "site.toml").write_text(text.replace('["a@', '["b@college.example", "a@'))
    tell(ledger)
    assert (go(ledger, NOW).sent, len(server.got)) == (1, 1)
    server.greylisted = set()
    assert go(ledger, NOW + dt.timedelta(seconds=59)).sent == 0
    assert go(ledger, NOW + dt.timedelta(seconds=60)).sent == 1


def test_a_connection_lost_in_a_mail_is_one_attempt_of_it_and_one_of_each_behind_it(
    ledger: Ledger, serving: Serving, monkeypatch: pytest.MonkeyPatch
) -> None:
    declare(ledger, f"smtp://127.0.0.1:{serving()[1]}")
    for source in ("nightly", "weekly"):
        tell(ledger, f"source:{source}")

    def lost(*_given: Any, **_named: Any) -> None:
        raise TimeoutError("timed out")

    monkeypatch.setattr(smtplib.SMTP, "send_message", lost)
    assert go(ledger, NOW).waiting == 2
    assert [row.attempts for row in rows(ledger)] == [1, 1]
    assert all("timed out" in row.last_error for row in rows(ledger))


def test_what_another_process_has_sent_meanwhile_is_not_marked_as_refused(
    ledger: Ledger, serving: Serving, monkeypatch: pytest.MonkeyPatch
) -> None:
    declare(ledger, f"smtp://127.0.0.1:{serving()[1]}")
    tell(ledger)
    with ledger.open() as store, store.reader() as connection:
        seen_before = due(connection, NOW)
    assert go(ledger, NOW).sent == 1
    declare(ledger)  # whose server nobody answers at
    monkeypatch.setattr(service.mail.delivering, "due", lambda *_given: seen_before)
    done = go(ledger, NOW + dt.timedelta(days=40))
    assert (done.sent, done.waiting, done.given_up) == (0, 0, 0)
    (row,) = rows(ledger)
    assert (row.sent_at, row.given_up_at, row.last_error) == (NOW, None, None)


def test_killed_between_sending_and_marking_it_sends_the_same_message_again(
    ledger: Ledger, serving: Serving, monkeypatch: pytest.MonkeyPatch
) -> None:
    server, port = serving()
    declare(ledger, f"smtp://127.0.0.1:{port}")
    tell(ledger)

    def killed(*_given: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(service.mail.delivering, "mark_sent", killed)
    with pytest.raises(KeyboardInterrupt):
        go(ledger, NOW)
    monkeypatch.undo()
    assert go(ledger, NOW).sent == 0  # the attempt was counted before it was made: its pause holds
    assert go(ledger, NOW + dt.timedelta(minutes=1)).sent == 1
    assert len(server.got) == 2
    assert len(set(server.ids)) == 1
    assert server.got[0].content == server.got[1].content


def test_two_writers_at_once_write_one_row(ledger: Ledger) -> None:
    declare(ledger)
    begin = threading.Barrier(2)
    written: list[bool] = []

    def run() -> None:
        begin.wait()
        written.append(tell(ledger))

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(written) == [False, True]
    assert len(rows(ledger)) == 1


def test_a_row_is_never_written_over(ledger: Ledger) -> None:
    declare(ledger)
    tell(ledger)
    first = rows(ledger)[0]
    with ledger.open() as store, store.writer() as connection:
        again = {**dict(first._mapping), "subject": "another"}
        del again["id"]
        assert write_once(connection, [again]) == 0
    assert rows(ledger) == [first]


def test_a_secret_that_is_missing_stops_neither_the_loop_nor_the_other_channel(
    ledger: Ledger, receiver: Any
) -> None:
    declare(
        ledger, "smtp://fans:{env:NOT_SET_ANYWHERE}@mail.example", f"http://127.0.0.1:{receiver.server_port}/"
    )
    tell(ledger)
    done = go(ledger, NOW)
    assert (done.sent, done.waiting) == (1, 1)
    assert done.reasons == ("the environment variable NOT_SET_ANYWHERE that site.toml names is not set",)


def test_a_hook_can_tell_who_sent_it_and_when(ledger: Ledger, receiver: Any) -> None:
    declare(ledger, "", f"http://127.0.0.1:{receiver.server_port}/fans?x=1")
    tell(ledger)
    assert go(ledger, NOW).sent == 1
    (path, headers, body), row = receiver.got[0], rows(ledger)[0]
    assert path == "/fans?x=1"
    assert headers["Slipledger-Time"] == str(int(NOW.timestamp()))
    # As README.md says how to check it, written here a second time.
    signed = headers["Slipledger-Time"].encode() + b"." + body
    assert headers["Slipledger-Signature"] == hmac.new(SECRET.encode(), signed, hashlib.sha256).hexdigest()
    assert headers["Slipledger-Id"] == json.loads(body)["id"] == row.message_id.strip("<>")
    assert json.loads(body)["subject"] == "The source nightly is down: Test College"


def test_a_hook_is_tried_again_with_the_same_id_and_body(ledger: Ledger, receiver: Any) -> None:
    receiver.answers = [503, 429]
    declare(ledger, "", f"http://127.0.0.1:{receiver.server_port}/")
    tell(ledger)
    for minutes in range(10):
        go(ledger, NOW + dt.timedelta(minutes=minutes))
    assert len({(headers["Slipledger-Id"], body) for _, headers, body in receiver.got}) == 1
    assert len({headers["Slipledger-Signature"] for _, headers, _ in receiver.got}) == len(receiver.got) == 3
    assert rows(ledger)[0].sent_at == NOW + dt.timedelta(minutes=3)


@pytest.mark.parametrize("answer", [400, 404, 410, 302, 308])
def test_a_hook_that_refuses_for_good_or_points_elsewhere_is_given_up(
    ledger: Ledger, receiver: Any, answer: int
) -> None:
    receiver.answers = [answer]
    declare(ledger, "", f"http://127.0.0.1:{receiver.server_port}/")
    tell(ledger)
    assert go(ledger, NOW).given_up == 1
    assert go(ledger, NOW + dt.timedelta(days=1)).sent == 0
    assert [path for path, _, _ in receiver.got] == ["/"]
    assert f"answered {answer}" in rows(ledger)[0].last_error


def test_a_hook_that_nobody_answers_waits(ledger: Ledger) -> None:
    declare(ledger, "", "http://127.0.0.1:9/")
    tell(ledger)
    done = go(ledger, NOW)
    assert (done.waiting, done.given_up) == (1, 0)
    assert "cannot be reached" in done.reasons[0]


def test_after_a_month_nobody_waits_for_it_any_more(ledger: Ledger) -> None:
    declare(ledger, "", "http://127.0.0.1:9/")
    tell(ledger)
    assert go(ledger, NOW + dt.timedelta(days=30)).given_up == 0
    assert go(ledger, NOW + dt.timedelta(days=31)).given_up == 1


def test_a_hook_that_site_toml_no_longer_names_is_given_up(ledger: Ledger) -> None:
    declare(ledger, "", "http://127.0.0.1:9/")
    tell(ledger)
    declare(ledger, "")
    assert go(ledger, NOW).given_up == 1
