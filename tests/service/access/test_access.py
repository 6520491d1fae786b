"""Who may log in: people, passwords, sessions, tokens, and how often somebody may try."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from config import load_site
from service.access import (
    Role,
    User,
    add_user,
    attempts,
    begin_attempt,
    begin_session,
    changes_of,
    end_attempt,
    end_session,
    is_anyone,
    make_token,
    passwords,
    revoke_token,
    sessions,
    set_disabled,
    set_password,
    set_role,
    tokens_of,
    user_of_session,
    user_of_token,
    users_of,
)
from service.failure import WorkFailed
from service.store import Store, open_store
from service.store.access_tables import access_tokens, login_attempts, users, web_sessions
from tests.service.databases import database_line

NOW = dt.datetime(2025, 7, 2, 12, tzinfo=dt.UTC)
MINUTE, HOUR, DAY = dt.timedelta(minutes=1), dt.timedelta(hours=1), dt.timedelta(days=1)
SENTENCE = "four belts, well tensioned"


@pytest.fixture
def store(tmp_path: Path, quick_hashes: None) -> Iterator[Store]:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(f'{database_line(folder)}name = "Weir"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text("fan,drive,motor_kw,speed_point\nSF-1,v_belt,7.5,P\n")
    with open_store(load_site(folder)) as opened:
        yield opened


def ann(store: Store, role: Role = Role.OPERATOR) -> User:
    return add_user(store, "Ann", role, SENTENCE, "root", NOW)


def logged_in(store: Store, user: User, at: dt.datetime = NOW) -> str:
    with store.writer() as connection:
        return begin_session(connection, user, at)


def try_password(store: Store, name: str, password: str, address: str, at: dt.datetime) -> User | str | None:
    attempt = begin_attempt(store, name, address, at)
    return "one too many" if attempt is None else end_attempt(store, attempt, name, password)


@pytest.mark.parametrize("role", Role)
def test_each_role_includes_those_before_it(role: Role) -> None:
    order = [Role.VIEWER, Role.OPERATOR, Role.ADMIN]
    assert [role.includes(other) for other in order] == [n <= order.index(role) for n in range(3)]


def test_a_password_is_kept_as_argon2id_with_the_cost_that_rfc_9106_recommends() -> None:
    # RFC 9106, section 4, second recommended option: argon2id, t = 3, p = 4 lanes, m = 2^16 KiB.
    kept = passwords.hash_of(SENTENCE)
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert SENTENCE not in kept


@pytest.mark.parametrize("password", ["", "short", "x" * 201, "aaaaaaaaaaaaaa", "Ann12345678901"[:13]])
def test_a_weak_password_is_refused_and_not_repeated(store: Store, password: str) -> None:
    with pytest.raises(WorkFailed) as refused:
        add_user(store, "Ann", Role.VIEWER, password, "root", NOW)
    assert not password or password not in str(refused.value)
    assert users_of(store) == []


@pytest.mark.parametrize("name", ["", "   ", "a" * 61, "a\nb", "a\x00b", "\N{RIGHT-TO-LEFT OVERRIDE}nna"])
def test_a_name_that_cannot_be_read_is_refused(store: Store, name: str) -> None:
    if name == "a\nb":  # white space is one blank
        assert add_user(store, name, Role.VIEWER, SENTENCE, "root", NOW).name == "a b"
        return
    with pytest.raises(WorkFailed, match="1 to 60"):
        add_user(store, name, Role.VIEWER, SENTENCE, "root", NOW)


@pytest.mark.parametrize("other", ["ann", "ANN", " Ann ", "\N{FULLWIDTH LATIN CAPITAL LETTER A}nn"])
def test_two_names_that_look_alike_are_one(store: Store, other: str) -> None:
    ann(store)
    with pytest.raises(WorkFailed, match="already"):
        add_user(store, other, Role.ADMIN, SENTENCE, "root", NOW)
    assert [user.role for user in users_of(store)] == [Role.OPERATOR]


def test_a_disabled_user_still_counts_as_a_user(store: Store) -> None:
    with store.reader() as connection:
        assert not is_anyone(connection)
    ann(store)
    set_disabled(store, "ann", True, "root", NOW)
    with store.reader() as connection:
        assert is_anyone(connection)


def test_a_session_ends_when_idle_and_after_a_week_however_busy(store: Store) -> None:
    secret = logged_in(store, ann(store))
    assert user_of_session(store, secret, NOW + sessions.IDLE - MINUTE) is not None
    secret, at = logged_in(store, users_of(store)[0]), NOW
    assert user_of_session(store, secret, NOW + sessions.IDLE) is None
    secret = logged_in(store, users_of(store)[0])
    while at < NOW + sessions.LONGEST - 6 * HOUR:
        at += 6 * HOUR
        assert (user_of_session(store, secret, at) is not None) == (at < NOW + sessions.LONGEST)
    assert user_of_session(store, secret, NOW + sessions.LONGEST) is None


def test_a_session_ends_with_logout_disabling_and_a_new_password(store: Store) -> None:
    user = ann(store)
    first, second, third = (logged_in(store, user) for _ in range(3))
    end_session(store, first)
    assert user_of_session(store, first, NOW) is None
    assert user_of_session(store, second, NOW) is not None
    set_password(store, "ann", "another sentence of mine", "Ann", NOW)
    assert user_of_session(store, second, NOW) is None
    fourth = logged_in(store, user)
    set_disabled(store, "ann", True, "root", NOW)
    set_disabled(store, "ann", False, "root", NOW)
    assert [user_of_session(store, secret, NOW) for secret in (third, fourth)] == [None, None]


def test_a_role_holds_from_the_next_request_on(store: Store) -> None:
    secret = logged_in(store, ann(store))
    set_role(store, "ann", Role.VIEWER, "root", NOW)
    found = user_of_session(store, secret, NOW)
    assert found is not None
    assert found.role is Role.VIEWER


def test_no_secret_stands_in_the_database(store: Store) -> None:
    secret = logged_in(store, ann(store))
    token = make_token(store, "ann", "work orders", None, 30, "Ann", NOW)
    with store.reader() as connection:
        kept = [
            str(connection.execute(sa.select(table)).all())
            for table in (users, web_sessions, access_tokens, login_attempts)
        ]
    assert not any(word in text for text in kept for word in (secret, token, SENTENCE))


def test_a_token_does_what_its_user_may_at_most_and_ends(store: Store) -> None:
    ann(store)
    as_viewer = make_token(store, "ann", "wall screen", Role.VIEWER, 30, "Ann", NOW)
    as_admin = make_token(store, "ann", "too bold", Role.ADMIN, 30, "Ann", NOW)

    def role(secret: str, at: dt.datetime = NOW) -> Role | None:
        found = user_of_token(store, secret, at)
        return None if found is None else found[1]

    assert (role(as_viewer), role(as_admin)) == (Role.VIEWER, Role.OPERATOR)
    set_role(store, "ann", Role.VIEWER, "root", NOW)
    assert role(as_admin) is Role.VIEWER
    assert role(as_viewer, NOW + 30 * DAY) is None
    assert role("slipledger_" + "A" * 43) is None
    set_disabled(store, "ann", True, "root", NOW)
    assert role(as_viewer) is None


def test_a_revoked_token_is_played_in_vain(store: Store) -> None:
    ann(store)
    token = make_token(store, "ann", "lost laptop", None, 30, "Ann", NOW)
    number = tokens_of(store, "Ann")[0].id
    with pytest.raises(WorkFailed, match="no token"):
        revoke_token(store, number, "Bob", NOW, of="Bob")
    revoke_token(store, number, "Ann", NOW, of="Ann")
    assert user_of_token(store, token, NOW) is None


def test_an_account_is_tried_so_often_and_then_waits_even_with_the_right_password(store: Store) -> None:
    ann(store)
    for n in range(attempts.OF_ACCOUNT):
        wrong = try_password(
            store, "ann" if n % 2 else "ANN", "a wrong one", f"192.0.2.{n}", NOW + n * MINUTE
        )
        assert wrong is None
    later = NOW + attempts.OF_ACCOUNT * MINUTE
    assert try_password(store, "Ann", SENTENCE, "192.0.2.99", later) == "one too many"
    free = NOW + attempts.WINDOW + MINUTE
    assert isinstance(try_password(store, "Ann", SENTENCE, "192.0.2.99", free), User)


def test_an_address_tries_so_many_accounts_and_then_waits_while_others_go_on(store: Store) -> None:
    ann(store)
    for n in range(attempts.OF_ADDRESS):
        assert try_password(store, f"somebody {n}", "guess", "192.0.2.1", NOW) is None
    assert try_password(store, "Ann", SENTENCE, "192.0.2.1", NOW) == "one too many"
    assert isinstance(try_password(store, "Ann", SENTENCE, "192.0.2.2", NOW), User)


def test_right_passwords_count_against_nobody(store: Store) -> None:
    ann(store)
    for _ in range(attempts.OF_ACCOUNT + attempts.OF_ADDRESS):
        assert isinstance(try_password(store, "Ann", SENTENCE, "192.0.2.1", NOW), User)


def test_a_disabled_user_is_not_let_in_by_the_right_password(store: Store) -> None:
    ann(store)
    set_disabled(store, "ann", True, "root", NOW)
    assert try_password(store, "Ann", SENTENCE, "192.0.2.1", NOW) is None


def test_every_change_is_kept_with_who_and_when(store: Store) -> None:
    ann(store)
    set_role(store, "ann", Role.ADMIN, "root", NOW + MINUTE)
    make_token(store, "ANN", "work orders", Role.VIEWER, 30, "Ann", NOW + 2 * MINUTE)
    revoke_token(store, tokens_of(store)[0].id, "Bob", NOW + 3 * MINUTE)
    set_password(store, "ann", "another sentence of mine", "Ann", NOW + 4 * MINUTE)
    set_disabled(store, "ann", True, "Bob", NOW + 5 * MINUTE)
    told = [(change.at - NOW, change.who, change.what, change.about) for change in changes_of(store, 10)]
    assert told == [
        (5 * MINUTE, "Bob", "disabled", "Ann"),
        (4 * MINUTE, "Ann", "password changed", "Ann"),
        (3 * MINUTE, "Bob", "token revoked: work orders", "Ann"),
        (2 * MINUTE, "Ann", "token made: work orders", "Ann"),
        (MINUTE, "root", "role set to admin", "Ann"),
        (0 * MINUTE, "root", "added as operator", "Ann"),
    ]
