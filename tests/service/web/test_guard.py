"""Who is answered, and with which headers."""

import pytest

from service.web.reach import is_loopback

from .conftest import HOSTILE, LOST, PORT, Asking

ROUTES = (
    "/",
    f"/fans/{LOST}",
    "/health",
    "/metrics",
    "/openapi.json",
    "/api/v1/fans",
    f"/api/v1/fans/{LOST}/daily",
    "/api/v1/alerts",
    "/static/ledger.css",
    "/static/mark.svg",
)
ERRORS = {
    "/nothing": 404,
    "/fans/nobody": 404,
    "/api/v1/nothing": 404,
    "/api/v1/fans/nobody/daily": 404,
    "/static/nothing.css": 404,
    "/static/../app.py": 404,
    "/static/%2e%2e/app.py": 404,
    "/docs": 404,
    "/redoc": 404,
}


def assert_guarded(headers: object) -> None:
    policy = headers["content-security-policy"]  # type: ignore[index]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    # CSP Level 3 (W3C): default-src does not cover base-uri, form-action and frame-ancestors.
    assert rules["default-src"] == "'none'"
    assert rules["style-src"] == "'self'"
    assert rules["base-uri"] == rules["frame-ancestors"] == "'none'"
    assert rules["form-action"] == "'self'"
    assert "unsafe" not in policy
    assert rules["script-src"] == "'self'"  # our own files alone, nothing that stands in a page
    assert headers["x-content-type-options"] == "nosniff"  # type: ignore[index]
    assert headers["referrer-policy"] == "same-origin"  # type: ignore[index]
    assert "server" not in headers  # type: ignore[operator]


@pytest.mark.parametrize("path", ROUTES)
def test_every_route_is_answered_under_the_policy(ask: Asking, path: str) -> None:
    answer = ask(path)
    assert answer.status_code == 200
    assert_guarded(answer.headers)


@pytest.mark.parametrize("path", ROUTES)
def test_head_is_a_get_without_a_body(ask: Asking, path: str) -> None:
    whole, head = ask(path), ask(path, "HEAD")
    assert head.status_code == 200
    assert head.content == b""
    assert_guarded(head.headers)
    assert head.headers["content-type"] == whole.headers["content-type"]


@pytest.mark.parametrize(("path", "status"), ERRORS.items())
def test_errors_carry_the_headers_too(ask: Asking, path: str, status: int) -> None:
    for method in ("GET", "HEAD"):
        answer = ask(path, method)
        assert answer.status_code == status
        assert_guarded(answer.headers)


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"])
def test_what_is_read_cannot_be_written(ask: Asking, method: str) -> None:
    for path in ("/", "/api/v1/fans", "/openapi.json", "/static/ledger.css"):
        answer = ask(path, method)
        assert answer.status_code == 405
        assert answer.headers["allow"] == "GET, HEAD"
        assert_guarded(answer.headers)


@pytest.mark.parametrize(
    "host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}", f"[::1]:{PORT}", "localhost"]
)
def test_a_loopback_host_is_answered(ask: Asking, host: str) -> None:
    assert ask("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("evil.example", 421),
        (f"evil.example:{PORT}", 421),
        ("127.0.0.1.evil.example", 421),
        ("localhost:1", 421),
        (f"127.0.0.2:{PORT}", 421),
        ("localhost:", 400),
        ("localhost:99999999", 400),
        ("user@localhost", 400),
        ("", 400),
        ("a b", 400),
    ],
)
def test_another_host_is_refused_in_one_sentence(ask: Asking, host: str, status: int) -> None:
    answer = ask("/", headers={"host": host})
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/plain")
    assert f"http://localhost:{PORT}/" in answer.text
    assert "Mill" not in answer.text
    assert_guarded(answer.headers)
    told = ask("/api/v1/fans", headers={"host": host}).json()["error"]
    assert told["status"] == status


@pytest.mark.parametrize(
    "header", ["Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-IP", "Via"]
)
def test_without_users_a_forwarding_header_is_refused(ask: Asking, header: str) -> None:
    for path in ("/", "/login", "/metrics", "/api/v1/fans", "/nothing"):
        answer = ask(path, headers={header: "for=192.0.2.1"})
        assert answer.status_code == 403
        assert "slipledger user add" in answer.text
        assert "Mill" not in answer.text
        assert_guarded(answer.headers)


def test_the_bound_address_is_a_host_of_its_own(ask: Asking) -> None:
    other = Asking(ask.site, ask.store, bind="127.0.0.2")
    assert other("/", headers={"host": f"127.0.0.2:{PORT}"}).status_code == 200


@pytest.mark.parametrize("bind", ["127.0.0.1", "127.8.9.10", "::1", "localhost"])
def test_loopback_may_be_bound(bind: str) -> None:
    assert is_loopback(bind)


@pytest.mark.parametrize("bind", ["0.0.0.0", "::", "192.168.1.5", "example.edu", "", "localhost.example"])
def test_nothing_else_may_be_bound(bind: str) -> None:
    assert not is_loopback(bind)


@pytest.mark.parametrize("fan", HOSTILE)
def test_a_hostile_name_reaches_its_fan_and_stays_text(ask_hostile: Asking, fan: str) -> None:
    found = {row["fan"]: row["page"] for row in ask_hostile("/api/v1/fans").json()}
    page = ask_hostile(found[fan])
    assert page.status_code == 200
    for text in (page.text, ask_hostile("/").text):
        assert "<script" not in text
        assert "<i>" not in text
        assert "<b>College" not in text
    rows = ask_hostile(f"/api/v1{found[fan]}/daily").json()
    assert {row["fan"] for row in rows} == {fan}


def test_the_search_is_text_too(ask: Asking) -> None:
    answer = ask('/?q="><script>alert(1)</script>&building=<b>&standing=<b>')
    assert answer.status_code == 200
    assert "<script" not in answer.text
    assert "No fan answers" in answer.text
