"""Who is answered: roles by route, logging in and out, forms that are our own, and under which names."""

import datetime as dt
import re

import httpx
import pytest

from service.access import Role, add_user, make_token, set_disabled
from service.access.attempts import OF_ACCOUNT
from service.access.sessions import IDLE
from service.web.app import site_routers
from service.web.current_site import CurrentSite
from service.web.desk import Desk
from service.web.reach import Reach
from service.web.routes import RouteRule, RouteTable

from .conftest import NOW, PORT, SLIPPING, Asking

SENTENCE = "four belts, well tensioned"
PUBLIC = "fans.example.edu"


@pytest.fixture
def closed(ask: Asking, quick_hashes: None) -> Asking:
    """A site with a user of each role, named after it."""
    for role in Role:
        add_user(ask.store, role.value, role, SENTENCE, "root", NOW)
    return ask


def token_of(ask: Asking, role: Role) -> dict[str, str]:
    secret = make_token(ask.store, role.value, "test", None, 30, "root", NOW)
    return {"authorization": f"Bearer {secret}"}


def rules(ask: Asking) -> list[RouteRule]:
    reach = Reach("127.0.0.1", PORT)
    return RouteTable(site_routers(Desk(CurrentSite(ask.site), ask.store, lambda: NOW), reach)).rules()


def test_the_table_of_routes_says_who_is_answered(ask: Asking) -> None:
    found = {(rule.method, rule.path): rule.role for rule in rules(ask)}
    assert {path for (_, path), role in found.items() if role is None} == {"/login", "/health"}
    for (method, path), role in found.items():
        if path.startswith("/people"):
            assert role is Role.ADMIN
        elif method == "POST" and not path.startswith(("/account", "/login", "/logout")):
            assert role is Role.OPERATOR, f"{path} changes something"
        elif method == "GET":
            assert role in (None, Role.VIEWER), f"{path} is read by all who log in"
    assert found[("POST", "/api/v1/alerts/{number}/close")] is Role.OPERATOR
    assert ("POST", "/api/v1/fans/{fan:path}/service") in found


def test_each_route_answers_the_roles_that_its_table_names_and_no_other(closed: Asking) -> None:
    tokens = {role: token_of(closed, role) for role in Role}
    for rule in rules(closed):
        if rule.path == "/logout":
            continue
        path = re.sub(r"\{fan(:path)?\}", SLIPPING, rule.path)
        path = re.sub(r"\{[a-z_]+(:path)?\}", "999999", path)
        sent = {"json": {}} if path.startswith("/api/") else {"data": {"name": "nobody"}}
        further = sent if rule.method == "POST" else {}
        unknown = closed(path, rule.method, **further)
        if rule.role is None:
            assert unknown.status_code not in (303, 404), path
        else:
            turned_away = (401, 403) if path.startswith(("/api/", "/openapi", "/metrics")) else (303, 403)
            if path != "/metrics":  # which is open on the machine itself
                assert unknown.status_code in turned_away, path
                assert SLIPPING not in unknown.text
            for role, header in tokens.items():
                answer = closed(path, rule.method, header, **further)
                is_refused = answer.status_code == 403 and "This takes a" in answer.text
                assert is_refused == (not role.includes(rule.role)), (rule, role, answer.text)


def test_a_person_logs_in_is_greeted_and_logs_out(closed: Asking) -> None:
    away = closed("/?standing=tight")
    assert away.status_code == 303
    assert away.headers["location"] == "/login?next=%2F%3Fstanding%3Dtight"
    assert SLIPPING not in away.text
    done = closed.log_in("Operator", SENTENCE)
    assert (done.status_code, done.headers["location"]) == (303, "/")
    cookie = done.headers["set-cookie"]
    assert all(mark in cookie for mark in ("HttpOnly", "SameSite=Lax", "Path=/"))
    assert SLIPPING in closed("/").text
    assert closed("/people").status_code == 403
    assert closed.send("/account", "/logout").status_code == 303
    assert closed("/").status_code == 303


def test_a_kept_cookie_is_played_again_in_vain_after_logout_and_after_its_time(closed: Asking) -> None:
    closed.log_in("viewer", SENTENCE)
    kept = httpx.Cookies(closed.cookies)
    closed.send("/account", "/logout")
    closed.cookies = kept
    assert closed("/").status_code == 303
    closed.log_in("viewer", SENTENCE)
    closed.now = NOW + IDLE
    assert closed("/").status_code == 303


def test_a_wrong_password_says_no_more_than_that_and_then_there_is_a_wait(closed: Asking) -> None:
    told = {closed.log_in(name, "a wrong one").text for name in ("viewer", "nobody at all")}
    assert len({re.sub(r'value="[^"]+"', "", text) for text in told}) == 1
    for _ in range(OF_ACCOUNT - 1):
        assert closed.log_in("viewer", "a wrong one").status_code == 401
    waits = closed.log_in("viewer", SENTENCE)
    assert waits.status_code == 429
    assert waits.headers["retry-after"] == "900"
    assert closed.log_in("operator", SENTENCE).status_code == 303
    closed.now = NOW + dt.timedelta(minutes=16)
    assert closed.log_in("viewer", SENTENCE).status_code == 303


@pytest.mark.parametrize(
    "wanted", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:1", "/a\r\nx: y", ""]
)
def test_logging_in_leads_nowhere_else(closed: Asking, wanted: str) -> None:
    token = re.search(r'form_token" value="([^"]+)"', closed("/login").text)
    assert token is not None
    fields = {"form_token": token[1], "name": "viewer", "password": SENTENCE, "next": wanted}
    assert closed("/login", "POST", data=fields).headers["location"] == "/"


def test_a_form_without_its_token_or_with_anothers_is_refused_also_without_users(ask: Asking) -> None:
    fields = {"name": "x", "password": "y"}
    assert ask("/login", "POST", data=fields).status_code == 403
    token = re.search(r'form_token" value="([^"]+)"', ask("/login").text)
    assert token is not None
    assert ask("/login", "POST", data={**fields, "form_token": token[1]}).status_code == 401
    ask.cookies = httpx.Cookies()  # another browser
    assert ask("/login", "POST", data={**fields, "form_token": token[1]}).status_code == 403
    ask("/login")
    assert ask("/login", "POST", data={**fields, "form_token": token[1]}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": f"http://localhost:{PORT + 1}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_what_another_site_sends_is_refused_even_with_a_right_token(
    ask: Asking, headers: dict[str, str]
) -> None:
    token = re.search(r'form_token" value="([^"]+)"', ask("/login").text)
    assert token is not None
    fields = {"name": "x", "password": "y", "form_token": token[1]}
    refused = ask("/login", "POST", headers, data=fields)
    assert (refused.status_code, "Another site" in refused.text) == (403, True)
    answer = ask("/api/v1/alerts/1/acknowledge", "POST", headers, json={"note": ""})
    assert answer.status_code == 403


def test_the_api_takes_no_form_that_a_page_elsewhere_could_send(ask: Asking) -> None:
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""):
        answer = ask("/api/v1/alerts/1/acknowledge", "POST", {"content-type": kind}, content=b'{"note": ""}')
        assert answer.status_code == 415


def test_without_users_only_this_machine_is_answered(ask: Asking) -> None:
    assert ask("/").status_code == 200
    ask.client = "192.0.2.7"
    for path in ("/", "/api/v1/fans", "/metrics", "/login"):
        told = ask(path)
        assert told.status_code == 403
        assert "slipledger user add" in told.text
    assert ask("/health").status_code in (200, 503)
    assert SLIPPING not in ask("/health").text


def test_metrics_off_the_machine_need_a_token(closed: Asking) -> None:
    assert closed("/metrics").status_code == 200
    assert closed("/metrics", headers={"x-forwarded-for": "192.0.2.7"}).status_code == 401
    closed.client = "192.0.2.7"
    assert closed("/metrics").status_code == 401
    assert closed("/metrics", headers=token_of(closed, Role.VIEWER)).status_code == 200


def test_a_token_that_does_not_hold_is_refused_everywhere(closed: Asking) -> None:
    header = token_of(closed, Role.ADMIN)
    assert closed("/", headers=header).status_code == 200
    set_disabled(closed.store, "admin", True, "root", NOW)
    for path in ("/", "/api/v1/fans", "/metrics"):
        answer = closed(path, headers=header)
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")


def test_an_admin_adds_people_and_takes_their_rights(closed: Asking) -> None:
    closed.log_in("admin", SENTENCE)
    added = closed.send("/people", "/people", name="<b>Bo</b>", role="operator", password="a long sentence")
    assert added.status_code == 303
    page = closed("/people").text
    assert "&lt;b&gt;Bo" in page
    assert "added as operator" in page
    assert closed.send("/people", "/people/role", name="<b>Bo</b>", role="viewer").status_code == 303
    assert closed.send("/people", "/people/disabled", name="<b>Bo</b>").status_code == 303
    for own_name in ("admin", "ADMIN", " admin "):  # names are the same whatever their capitals
        assert closed.send("/people", "/people/disabled", name=own_name).status_code == 409
        assert closed.send("/people", "/people/role", name=own_name, role="viewer").status_code == 409
    assert closed.send("/people", "/people", name="Cy", role="king", password=SENTENCE).status_code == 400
    assert closed.send("/people", "/people", name="Cy", role="viewer", password="short").status_code == 409


def test_people_change_their_own_password_and_make_tokens_that_are_shown_once(closed: Asking) -> None:
    closed.log_in("operator", SENTENCE)
    made = closed.send("/account", "/account/tokens", label="wall screen", role="viewer").text
    secret = re.search(r"slipledger_[\w-]+", made)
    assert secret is not None
    assert secret[0] not in closed("/account").text
    assert closed("/api/v1/fans", headers={"authorization": f"Bearer {secret[0]}"}).status_code == 200
    assert closed.send("/account", "/account/tokens/1/revoke").status_code == 303
    assert closed("/api/v1/fans", headers={"authorization": f"Bearer {secret[0]}"}).status_code == 401
    new = {"new": "another sentence", "again": "another sentence"}
    assert closed.send("/account", "/account/password", old="a wrong one", **new).status_code == 403
    assert closed.send("/account", "/account/password", old=SENTENCE, **new).status_code == 303
    assert closed("/").status_code == 303
    assert closed.log_in("operator", "another sentence").status_code == 303


@pytest.fixture
def proxied(closed: Asking) -> Asking:
    """The same site behind a proxy that encrypts, with its public name."""
    web = closed.site.site.web.model_copy(update={"public_url": f"https://{PUBLIC}"})
    site = closed.site.model_copy(update={"site": closed.site.site.model_copy(update={"web": web})})
    return Asking(site, closed.store, is_behind_proxy=True)


def test_behind_a_proxy_the_public_name_is_answered_and_cookies_travel_encrypted_only(
    proxied: Asking,
) -> None:
    headers = {"host": PUBLIC, "x-forwarded-for": "203.0.113.9", "x-forwarded-proto": "https"}
    page = proxied("/login", headers=headers)
    assert page.status_code == 200
    assert page.headers["set-cookie"].startswith("__Host-slipledger-form=")
    assert "; Secure" in page.headers["set-cookie"]
    assert page.headers["strict-transport-security"].startswith("max-age=")
    assert proxied("/", headers={"host": "evil.example"}).status_code == 421


def test_behind_a_proxy_tries_are_counted_by_the_address_that_the_proxy_saw() -> None:
    reach = Reach("127.0.0.1", PORT, f"https://{PUBLIC}", is_behind_proxy=True)
    scope = {"client": ("127.0.0.1", 1), "headers": [(b"x-forwarded-for", b"198.51.100.1, 203.0.113.9")]}
    assert reach.comes_from(scope) == "203.0.113.9"
    own = Reach("127.0.0.1", PORT)
    assert own.comes_from(scope) == "127.0.0.1"  # nothing is believed where no proxy is declared
    assert own.comes_from({"client": ("2001:db8:1:2:3::4", 1), "headers": []}) == "2001:db8:1:2::/64"
