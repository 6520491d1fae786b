"""Where a secret comes from: the environment or a file, never the site's own files."""

import os
import re
from pathlib import Path
from typing import Final
from urllib.parse import parse_qsl, urlsplit

from config.faults import fault_in_value

_REFERENCE: Final = re.compile(r"\{(env|file):([^{}]+)\}")
_SECRET_KEYS: Final = (
    "password",
    "passwd",
    "pwd",
    "secret",
    "token",
    "sig",
    "signature",
    "apikey",
    "api_key",
)


class MissingSecret(Exception):  # noqa: N818 - named for what it says
    """A secret that site.toml refers to is not where it says."""


def resolve_secrets(text: str, folder: Path) -> str:
    """Replace each {env:NAME} and {file:PATH}; a relative path is taken from the site folder."""

    def value_of(match: re.Match[str]) -> str:
        kind, name = match.groups()
        if kind == "env":
            if name not in os.environ:
                raise MissingSecret(f"the environment variable {name} that site.toml names is not set")
            return os.environ[name]
        try:
            return (folder / name).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise MissingSecret(
                f"the secret file {name} that site.toml names cannot be read: {error}"
            ) from error

    return _REFERENCE.sub(value_of, text)


def check_url(text: str) -> str:
    """Refuse a URL that carries a password in the open; the refusal does not repeat it."""
    plain = _REFERENCE.sub("", text)
    try:
        parts = urlsplit(plain)
        password = parts.password
    except ValueError:
        raise fault_in_value("is not a URL or a path", "write a folder or scheme://host/path") from None
    queries = [key for key, value in parse_qsl(parts.query) if value and key.casefold() in _SECRET_KEYS]
    if password or queries:
        raise fault_in_value(
            "carries a password",
            "put it in the environment or a file and write {env:NAME} or {file:PATH} here",
        )
    return text


def check_secret(text: str) -> str:
    """Refuse a secret that stands in the site's file itself; the refusal does not repeat it."""
    if not _REFERENCE.fullmatch(text):
        raise fault_in_value(
            "stands here in the open",
            "put it in the environment or a file and write {env:NAME} or {file:PATH}",
        )
    return text


def without_password(text: str) -> str:
    """Return a URL fit to be shown: its password and secret parameters are starred out."""
    shown = re.sub(r"(?<=://)([^/@:]*):[^/]*@", r"\1:***@", text)
    keys = "|".join(_SECRET_KEYS)
    return re.sub(rf"(?i)\b({keys})=[^&]+", r"\1=***", shown)
