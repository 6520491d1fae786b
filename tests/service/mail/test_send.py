"""The mail through a real server: TLS, login, once a week and recipient, and what is left after a stop."""

import datetime as dt
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from email import message_from_bytes
from email.policy import SMTP
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword, Session

from service.failure import WorkFailed
from service.mail import Delivery, send_weekly
from service.mail.smtp import server_of
from service.store.mail_tables import outbox
from tests.service.mail.conftest import WEEK, Ledger

NOW = dt.datetime(2025, 6, 16, 12, 0, tzinfo=dt.UTC)
PASSWORD = "p@ss:w/ord #1"
MANAGER, SHOP = "manager@college.example", "shop@college.example"


class Server:
    """A mail server on loopback that keeps what it is given."""

    def __init__(self) -> None:
        self.got: list[Envelope] = []
        self.sessions: list[Session] = []
        self.refused: set[str] = set()
        self.greylisted: set[str] = set()
        self.dies_after: int | None = None

    async def handle_RCPT(  # noqa: N802 - named by the server
        self, server: Any, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if address in self.refused:
            return "550 5.1.1 no such mailbox"
        if address in self.greylisted:
            return "451 4.7.1 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Session, envelope: Envelope) -> str:  # noqa: N802
        if self.dies_after is not None and len(self.got) >= self.dies_after:
            return "421 4.3.2 shutting down"
        self.got.append(envelope)
        self.sessions.append(session)
        return "250 accepted"

    @property
    def ids(self) -> list[str]:
        return [str(message_from_bytes(one.content or b"", policy=SMTP)["Message-ID"]) for one in self.got]


@pytest.fixture
def serving() -> Iterator[Callable[..., tuple[Server, int]]]:
    started: list[Controller] = []

    def start(**options: Any) -> tuple[Server, int]:
        server = Server()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        controller = Controller(server, hostname="127.0.0.1", port=port, **options)
        controller.start()
        started.append(controller)
        return server, port

    yield start
    for controller in started:
        controller.stop()


@pytest.fixture
def trusted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ssl.SSLContext:
    """A certificate of an authority made for the test, which the environment names."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "authority.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    return _context(authority)


def _context(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1", "localhost").configure_cert(context)
    return context


def send(ledger: Ledger) -> Delivery:
    with ledger.open() as store:
        return send_weekly(ledger.site, store, WEEK, clock=lambda: NOW)


def rows(ledger: Ledger) -> list[Any]:
    with ledger.open() as store, store.reader() as connection:
        return list(connection.execute(sa.select(outbox).order_by(outbox.c.recipient)))


def test_each_recipient_gets_a_mail_of_their_own_and_only_once(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]]
) -> None:
    server, port = serving()
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    assert send(ledger).sent == (MANAGER, SHOP)
    assert [one.rcpt_tos for one in server.got] == [[MANAGER], [SHOP]]
    assert len(set(server.ids)) == 2
    again = send(ledger)
    assert (again.sent, again.sent_before) == ((), (MANAGER, SHOP))
    assert len(server.got) == 2
    assert [(row.recipient, row.occasion, row.sent_at, row.attempts) for row in rows(ledger)] == [
        (MANAGER, "2025-W24", NOW, 1),
        (SHOP, "2025-W24", NOW, 1),
    ]


def test_stopped_between_sending_and_marking_it_sends_the_same_message_again(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]]
) -> None:
    server, port = serving()
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    send(ledger)
    with ledger.open() as store, store.writer() as connection:
        connection.execute(sa.update(outbox).where(outbox.c.recipient == SHOP).values(sent_at=None))
    # What the ledger says by then does not matter: what was written goes out.
    ledger.episode("RF-1", "belt_slip", dt.date(2025, 6, 10))
    assert send(ledger).sent == (SHOP,)
    assert server.ids[1] == server.ids[2]
    assert server.got[1].content == server.got[2].content


def test_one_refused_recipient_does_not_keep_the_mail_from_the_other(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]]
) -> None:
    server, port = serving()
    server.refused = {MANAGER}
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    delivery = send(ledger)
    assert delivery.sent == (SHOP,)
    assert delivery.refused == ((MANAGER, "it refused the recipient (550 5.1.1 no such mailbox)"),)
    server.refused = set()
    assert send(ledger).sent == (MANAGER,)
    assert [row.last_error for row in rows(ledger)] == [None, None]


def test_a_server_that_goes_down_in_between_loses_nothing(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]]
) -> None:
    server, port = serving()
    server.dies_after = 1
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    assert send(ledger).sent == (MANAGER,)
    server.dies_after = None
    assert send(ledger).sent == (SHOP,)
    assert len(server.got) == 2


def test_no_server_is_said_and_the_row_waits(ledger: Ledger) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    with pytest.raises(WorkFailed, match=f"127.0.0.1:{port} cannot be reached"):
        send(ledger)
    assert [row.sent_at for row in rows(ledger)] == [None, None]
    assert all("cannot be reached" in row.last_error for row in rows(ledger))


def check_login(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
    is_right = isinstance(data, LoginPassword) and (data.login, data.password) == (b"fans", PASSWORD.encode())
    # Not handled: the server itself is to answer the refusal.
    return AuthResult(success=is_right, handled=is_right)


def test_starttls_and_login_with_a_secret_from_the_environment(
    ledger: Ledger,
    serving: Callable[..., tuple[Server, int]],
    trusted: ssl.SSLContext,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    server, port = serving(
        tls_context=trusted, require_starttls=True, auth_required=True, authenticator=check_login
    )
    monkeypatch.setenv("TEST_SMTP_PASSWORD", PASSWORD)
    ledger.declare(smtp=f"smtp://fans:{{env:TEST_SMTP_PASSWORD}}@127.0.0.1:{port}")
    assert send(ledger).sent == (MANAGER, SHOP)
    assert all(session.authenticated and session.ssl is not None for session in server.sessions)


def test_a_wrong_password_is_said_without_saying_it(
    ledger: Ledger,
    serving: Callable[..., tuple[Server, int]],
    trusted: ssl.SSLContext,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    _, port = serving(tls_context=trusted, require_starttls=True, authenticator=check_login)
    monkeypatch.setenv("TEST_SMTP_PASSWORD", "guessed-wrong")
    ledger.declare(smtp=f"smtp://fans:{{env:TEST_SMTP_PASSWORD}}@127.0.0.1:{port}")
    with pytest.raises(WorkFailed, match="refused the login") as caught:
        send(ledger)
    assert "guessed-wrong" not in str(caught.value)


def test_no_login_goes_over_an_open_line(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    server, port = serving()
    monkeypatch.setenv("TEST_SMTP_PASSWORD", PASSWORD)
    ledger.declare(smtp=f"smtp://fans:{{env:TEST_SMTP_PASSWORD}}@127.0.0.1:{port}")
    with pytest.raises(WorkFailed, match="offers no STARTTLS"):
        send(ledger)
    assert server.got == []


def test_a_certificate_of_an_unknown_authority_is_refused(
    ledger: Ledger,
    serving: Callable[..., tuple[Server, int]],
    trusted: ssl.SSLContext,
) -> None:
    server, port = serving(tls_context=_context(trustme.CA()), require_starttls=True)
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    with pytest.raises(WorkFailed, match="SSL_CERT_FILE"):
        send(ledger)
    assert server.got == []


def test_a_server_that_speaks_tls_from_the_start_is_sent_to(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]], trusted: ssl.SSLContext
) -> None:
    server, port = serving(ssl_context=trusted)
    ledger.declare(smtp=f"smtps://127.0.0.1:{port}")
    assert send(ledger).sent == (MANAGER, SHOP)
    assert len(server.got) == 2


def test_two_senders_at_once_write_one_row_a_recipient(
    ledger: Ledger, serving: Callable[..., tuple[Server, int]]
) -> None:
    server, port = serving()
    ledger.declare(smtp=f"smtp://127.0.0.1:{port}")
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    failed: list[BaseException] = []

    def run() -> None:
        try:
            send(ledger)
        except BaseException as error:
            failed.append(error)
            raise

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert [row.recipient for row in rows(ledger)] == [MANAGER, SHOP]
    # At least once each, and every copy carries the same Message-ID and the same bytes.
    assert {one.rcpt_tos[0] for one in server.got} == {MANAGER, SHOP}
    assert len(set(server.ids)) == 2
    assert len({one.content for one in server.got}) == 2


@pytest.mark.parametrize(
    ("url", "host", "port", "is_tls_from_start", "is_required"),
    [
        ("smtp://mail.example", "mail.example", 25, False, False),
        ("smtp://mail.example:587?tls=required", "mail.example", 587, False, True),
        ("smtps://mail.example/", "mail.example", 465, True, False),
        ("smtp://[2001:db8::25]:2525", "2001:db8::25", 2525, False, False),
    ],
)
def test_where_the_server_is(
    url: str, host: str, port: int, is_tls_from_start: bool, is_required: bool
) -> None:
    server = server_of(url, Path())
    assert (server.host, server.port) == (host, port)
    assert (server.is_tls_from_start, server.is_tls_required) == (is_tls_from_start, is_required)


def test_a_secret_never_shows(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text(f"{PASSWORD}\n", encoding="utf-8")
    server = server_of("smtp://fans:{file:secret}@mail.example", tmp_path)
    assert server.password == PASSWORD
    assert PASSWORD not in repr(server)
