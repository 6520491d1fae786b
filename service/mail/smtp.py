"""The mail server: where it is, how it is spoken to, and what its refusals mean."""

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from config.mail_server import parts_of_mail_server
from config.secrets import resolve_secrets
from service.failure import WorkFailed

_PORTS: Final = {"smtp": 25, "smtps": 465}
_TIMEOUT_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class Server:
    """A mail server; `is_tls_required` whether mail must not go there in the open."""

    host: str
    port: int
    is_tls_from_start: bool
    is_tls_required: bool
    user: str | None
    password: str | None = field(repr=False)

    @property
    def place(self) -> str:
        """The server as it is named to people."""
        return f"{self.host}:{self.port}"


def server_of(url: str, folder: Path) -> Server:
    """Read `smtp` of site.toml: smtp:// or smtps://, with {env:NAME} or {file:PATH} for user and password."""
    match = parts_of_mail_server(url)
    user, password = (
        None if match[name] is None else resolve_secrets(match[name], folder) for name in ("user", "password")
    )
    scheme = match["scheme"]
    port = int(match["port"] or _PORTS[scheme])
    is_required = bool(match["query"]) or user is not None
    return Server(match["host"].strip("[]"), port, scheme == "smtps", is_required, user, password)


@contextmanager
def connected(server: Server) -> Iterator[smtplib.SMTP]:
    """Speak to a server: TLS from the start, or STARTTLS where it is offered; a login only under TLS.

    Certificates are checked against the system's authorities and those of SSL_CERT_FILE.
    """
    context = ssl.create_default_context()
    try:
        with _opened(server, context) as smtp:
            yield smtp
    except ssl.SSLError as error:
        remedy = "if an authority of your own signed it, name its file in the environment as SSL_CERT_FILE"
        raise WorkFailed(f"mail server {server.place}: its TLS is not trusted ({error}); {remedy}") from error
    except smtplib.SMTPException as error:
        raise WorkFailed(f"mail server {server.place}: {refusal(error)}") from error
    except OSError as error:
        raise WorkFailed(f"mail server {server.place} cannot be reached: {error}") from error


def _opened(server: Server, context: ssl.SSLContext) -> smtplib.SMTP:
    if server.is_tls_from_start:
        smtp: smtplib.SMTP = smtplib.SMTP_SSL(server.host, server.port, timeout=_TIMEOUT_S, context=context)
    else:
        smtp = smtplib.SMTP(server.host, server.port, timeout=_TIMEOUT_S)
    try:
        smtp.ehlo_or_helo_if_needed()
        if not server.is_tls_from_start:
            _secure(smtp, server, context)
        if server.user is not None:
            smtp.login(server.user, server.password or "")
    except BaseException:
        smtp.close()
        raise
    return smtp


def _secure(smtp: smtplib.SMTP, server: Server, context: ssl.SSLContext) -> None:
    if smtp.has_extn("starttls"):
        smtp.starttls(context=context)
        smtp.ehlo()
    elif server.is_tls_required:
        raise WorkFailed(
            f"mail server {server.place} offers no STARTTLS, and a login must not go over an open line; "
            "use smtps:// or another port (587 is usual)"
        )


def is_final(error: smtplib.SMTPException) -> bool:
    """Tell whether trying again cannot help: a 5xx (RFC 5321, 4.2.1) about this mail itself."""
    if isinstance(error, smtplib.SMTPAuthenticationError | smtplib.SMTPConnectError | smtplib.SMTPHeloError):
        return False
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(500 <= code < 600 for code, _ in error.recipients.values())
    if isinstance(error, smtplib.SMTPResponseException):
        return 500 <= error.smtp_code < 600
    return isinstance(error, smtplib.SMTPNotSupportedError)


def refusal(error: smtplib.SMTPException) -> str:
    """Say what a server answered."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return f"it refused the login ({error.smtp_code})"
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        answers = (f"{code} {_text(said)}" for code, said in error.recipients.values())
        return f"it refused the recipient ({'; '.join(answers)})"
    if isinstance(error, smtplib.SMTPResponseException):
        return f"it answered {error.smtp_code} {_text(error.smtp_error)}"
    return str(error)


def _text(said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return " ".join(text.split())
