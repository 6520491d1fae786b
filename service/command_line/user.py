"""`slipledger user`: who may log in, with which role, and the tokens of programs."""

import datetime as dt
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from service.store import Store

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="The user's name.", show_default=False)]

user = typer.Typer(
    help="Say who may log in, and make tokens for programs.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


class RoleName(StrEnum):
    """The roles, as `service.access` knows them; named here so that --help loads nothing."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ADMIN = "admin"


RoleOption = Annotated[
    RoleName, typer.Option(help="A viewer reads; an operator also acts on alerts; an admin also adds users.")
]


@user.command("add")
def add(site: SiteArgument, name: NameArgument, *, role: RoleOption = RoleName.VIEWER) -> None:
    """Add a user; the password is asked for, or read from stdin.

    From the first user on, everybody logs in.
    """
    from service.access import Role, add_user  # noqa: PLC0415 - kept out of --help

    password = _password()
    with _opened(site) as store:
        added = add_user(store, name, Role(role), password, _who(), _now())
    print(f"{added.name} may log in as {added.role}.", file=sys.stderr)


@user.command("list")
def list_users(site: SiteArgument) -> None:
    """List the users and their tokens."""
    from service.access import tokens_of, users_of  # noqa: PLC0415 - kept out of --help

    with _opened(site) as store:
        found, tokens = users_of(store), tokens_of(store)
    if not found:
        print("There is no user yet: only this machine itself is answered, without a login.", file=sys.stderr)
    width = max((len(one.name) for one in found), default=0)
    for one in found:
        state = "disabled" if one.is_disabled else "enabled"
        print(f"{one.name:<{width}}  {one.role:<8}  {state:<8}  added {one.created_at:%Y-%m-%d}")
        for token in (token for token in tokens if token.user == one.name):
            ends = f"ends {token.ends_at:%Y-%m-%d}"
            if token.revoked_at is not None:
                ends = f"revoked {token.revoked_at:%Y-%m-%d}"
            print(f"{'':<{width}}  token {token.id}: {token.label}, {token.role}, {ends}")


@user.command("disable")
def disable(site: SiteArgument, name: NameArgument) -> None:
    """Let a user in no longer: sessions and tokens end at once."""
    _set_disabled(site, name, is_disabled=True)


@user.command("enable")
def enable(site: SiteArgument, name: NameArgument) -> None:
    """Let a disabled user in again."""
    _set_disabled(site, name, is_disabled=False)


@user.command("role")
def change_role(
    site: SiteArgument,
    name: NameArgument,
    role: Annotated[
        RoleName, typer.Argument(metavar="ROLE", help="viewer, operator or admin.", show_default=False)
    ],
) -> None:
    """Give a user another role."""
    from service.access import Role, set_role  # noqa: PLC0415 - kept out of --help

    with _opened(site) as store:
        set_role(store, name, Role(role), _who(), _now())
    print(f"{name} is {role} now.", file=sys.stderr)


@user.command("password")
def change_password(site: SiteArgument, name: NameArgument) -> None:
    """Give a user another password; the user's sessions end.

    It is asked for, or read from stdin.
    """
    from service.access import set_password  # noqa: PLC0415 - kept out of --help

    password = _password()
    with _opened(site) as store:
        set_password(store, name, password, _who(), _now())
    print(f"The password of {name} is changed.", file=sys.stderr)


@user.command("token")
def token(
    site: SiteArgument,
    name: NameArgument,
    *,
    label: Annotated[
        str, typer.Option(metavar="TEXT", help="What uses it.", show_default=False)
    ] = "made on the server",
    role: Annotated[
        RoleName | None, typer.Option(help="At most this; default: the user's own.", show_default=False)
    ] = None,
    days: Annotated[int, typer.Option(min=1, metavar="DAYS", help="How long it holds.")] = 365,
    revoke: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", help="End a token instead, by its number in the list."),
    ] = None,
) -> None:
    """Make a token for a program and print it, this once.

    Only its digest is kept.
    """
    from service.access import Role, make_token, revoke_token  # noqa: PLC0415 - kept out of --help

    with _opened(site) as store:
        if revoke is not None:
            revoke_token(store, revoke, _who(), _now(), of=name)
            print(f"Token {revoke} holds no longer.", file=sys.stderr)
            return
        wanted = None if role is None else Role(role)
        print(make_token(store, name, label, wanted, days, _who(), _now()))
    print("Send it as Authorization: Bearer TOKEN. It cannot be shown again.", file=sys.stderr)


def _set_disabled(site: Path, name: str, *, is_disabled: bool) -> None:
    from service.access import set_disabled  # noqa: PLC0415 - kept out of --help

    with _opened(site) as store:
        set_disabled(store, name, is_disabled, _who(), _now())
    print(f"{name} is {'disabled' if is_disabled else 'let in again'}.", file=sys.stderr)


@contextmanager
def _opened(site: Path) -> "Iterator[Store]":
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    with open_store(load_site(site)) as store:
        yield store


def _password() -> str:
    """Ask for a password twice at a terminal; elsewhere it is the first line of stdin."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    said: str = typer.prompt("Password", hide_input=True, confirmation_prompt="Once more", err=True)
    return said


def _who() -> str:
    """Return who is at the command line, as the system knows them."""
    import getpass  # noqa: PLC0415 - kept out of --help

    try:
        return f"{getpass.getuser()}, on the server"
    except (KeyError, OSError):
        return "somebody on the server"


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
