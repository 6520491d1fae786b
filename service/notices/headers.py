"""The headers of every mail: nothing can be injected into them, and a second delivery is known as one."""

import datetime as dt
import hashlib
from collections.abc import Sequence
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import Final

from service.words import one_line

_NOBODY: Final = "undisclosed-recipients:;"


def headed(
    subject: str, sender: str, recipients: Sequence[str], when: dt.datetime, identity: str
) -> EmailMessage:
    """Return a mail without its text."""
    message = EmailMessage(policy=SMTP)
    message["Subject"] = one_line(subject)
    message["From"] = _address(sender)
    message["To"] = tuple(_address(one) for one in recipients) or _NOBODY
    message["Date"] = format_datetime(when)
    message["Message-ID"] = identity
    message["Auto-Submitted"] = "auto-generated"
    return message


def message_id(site: str, recipients: Sequence[str], occasion: str, sender: str, begins: str) -> str:
    """Return the Message-ID: it follows from site, recipients and occasion alone."""
    told = "\n".join([site, *(plain_address(one) for one in recipients), occasion])
    digest = hashlib.sha256(told.encode()).hexdigest()[:20]
    return f"<{begins}.{digest}@{_domain(sender)}>"


def plain_address(text: str) -> str:
    """Return an address without its name, as it is compared."""
    return (parseaddr(text)[1] or text).casefold()


def _domain(sender: str) -> str:
    domain = parseaddr(sender)[1].rpartition("@")[2]
    return domain if domain.isascii() and domain else "localhost"


def _address(text: str) -> Address:
    name, plain = parseaddr(one_line(text))
    return Address(display_name=name, addr_spec=plain)
