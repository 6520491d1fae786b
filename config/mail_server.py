"""How a mail server is written in site.toml."""

import re
from typing import Final

from config.faults import fault_in_value

_MAIL_SERVER: Final = re.compile(
    r"(?P<scheme>smtps?)://"
    r"(?:(?P<user>\{[^{}]+\}|[^:@/{}]+)(?::(?P<password>\{[^{}]+\}))?@)?"
    r"(?P<host>\[[0-9A-Fa-f:.]+\]|[^\[\]:/?#@]+)(?::(?P<port>\d{1,5}))?/?(?P<query>\?tls=required)?"
)


def parts_of_mail_server(url: str) -> re.Match[str]:
    """Part smtp:// or smtps://, with {env:NAME} or {file:PATH} for secrets; raise a fault for another.

    Returns: the match, with scheme, user, password, host, port and query as its groups.
    """
    match = _MAIL_SERVER.fullmatch(url.strip())
    if match is None or int(match["port"] or 25) > 65_535:
        raise fault_in_value(
            "is no mail server",
            "write it like smtp://user:{env:SMTP_PASSWORD}@host:587, smtps://host:465 or "
            "smtp://host?tls=required",
        )
    return match


def check_mail_server(url: str) -> str:
    """Refuse what is no mail server."""
    parts_of_mail_server(url)
    return url
