"""The second channel: a JSON message to a program, signed, so that it can tell who sent it and when."""

import datetime as dt
import hashlib
import hmac
import http.client
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any, Final

from config.secrets import resolve_secrets, without_password
from config.site import Hook

ID_HEADER: Final = "Slipledger-Id"
TIME_HEADER: Final = "Slipledger-Time"
SIGNATURE_HEADER: Final = "Slipledger-Signature"
_TIMEOUT_S: Final = 20.0
# Answers that may be another one later: too early, too many, a time-out. Every 5xx is of that kind too.
_PASSING: Final = frozenset({408, 421, 423, 425, 429})


class Refused(Exception):  # noqa: N818 - named for what it says
    """A message was not taken; `is_final` whether trying again cannot help."""

    def __init__(self, reason: str, *, is_final: bool) -> None:
        super().__init__(reason)
        self.is_final = is_final


def signature(secret: str, time: str, body: bytes) -> str:
    """Return the HMAC-SHA256, in hex, of the time as it stands in its header, a full stop and the body."""
    return hmac.new(secret.encode(), time.encode() + b"." + body, hashlib.sha256).hexdigest()


def call(hook: Hook, folder: Path, body: bytes, identity: str, now: dt.datetime) -> None:
    """Post a message to a hook; raise Refused unless it answers 2xx.

    The id stays the same over all attempts; the time, and with it the signature, is of this attempt.
    """
    time = str(int(now.timestamp()))
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "slipledger",
        ID_HEADER: identity,
        TIME_HEADER: time,
        SIGNATURE_HEADER: signature(resolve_secrets(hook.secret, folder), time, body),
    }
    url = resolve_secrets(hook.url, folder)
    request = urllib.request.Request(url, body, headers, method="POST")
    place = without_password(hook.url)
    try:
        with _OPENER.open(request, timeout=_TIMEOUT_S) as answer:
            answer.read(1)
    except urllib.error.HTTPError as error:
        with error:
            is_passing = error.code >= 500 or error.code in _PASSING
            raise Refused(f"hook {place} answered {error.code}", is_final=not is_passing) from error
    except (OSError, http.client.HTTPException) as error:
        reason = getattr(error, "reason", None) or error
        raise Refused(f"hook {place} cannot be reached: {reason}", is_final=False) from error


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Follows nobody elsewhere: what is signed for one address is for that address."""

    def redirect_request(self, *_given: Any, **_named: Any) -> None:
        """Take a redirection as the answer it is."""


_OPENER: Final = urllib.request.build_opener(_NoRedirect)
