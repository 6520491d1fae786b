"""A week's mail as a message: headers that nothing can be injected into, text, HTML and its pictures."""

import datetime as dt
import hashlib
from email.headerregistry import Address
from email.message import EmailMessage, MIMEPart
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import Final

from service.mail.digest import Digest
from service.mail.html import html_of
from service.mail.opening import subject_of
from service.mail.text import text_of
from service.mail.weeks import Week
from service.mail.writing import one_line

_NOBODY: Final = "undisclosed-recipients:;"


def as_message(digest: Digest, sender: str, recipients: tuple[str, ...], when: dt.datetime) -> EmailMessage:
    """Return the mail to some recipients, dated `when`.

    Its Message-ID follows from site, recipients and week alone, so that a second delivery is known as one.
    """
    identity = message_id(digest.site, recipients, digest.week, sender)
    message = EmailMessage(policy=SMTP)
    message["Subject"] = one_line(subject_of(digest))
    message["From"] = _address(sender)
    message["To"] = tuple(_address(one) for one in recipients) or _NOBODY
    message["Date"] = format_datetime(when)
    message["Message-ID"] = identity
    message["Auto-Submitted"] = "auto-generated"
    # Short: a long content id would be folded, and then match nothing.
    mail = hashlib.sha256(identity.encode()).hexdigest()[:12]
    ids = tuple(
        None if visit.picture is None else f"picture-{place}.{mail}@slipledger"
        for place, visit in enumerate(digest.visits, start=1)
    )
    message.set_content(text_of(digest))
    message.add_alternative(html_of(digest, ids), subtype="html")
    parts = message.get_payload()
    page = parts[1] if isinstance(parts, list) else None
    for visit, picture_id in zip(digest.visits, ids, strict=True):
        if visit.picture is not None and isinstance(page, MIMEPart):
            page.add_related(visit.picture.png, "image", "png", cid=f"<{picture_id}>", disposition="inline")
    return message


def message_id(site: str, recipients: tuple[str, ...], week: Week, sender: str) -> str:
    """Return the Message-ID of a site's mail to some recipients in a week."""
    told = "\n".join([site, *(parseaddr(one)[1].casefold() for one in recipients), str(week)])
    digest = hashlib.sha256(told.encode()).hexdigest()[:20]
    return f"<{str(week).lower()}.{digest}@{_domain(sender)}>"


def _domain(sender: str) -> str:
    domain = parseaddr(sender)[1].rpartition("@")[2]
    return domain if domain.isascii() and domain else "localhost"


def _address(text: str) -> Address:
    name, plain = parseaddr(one_line(text))
    return Address(display_name=name, addr_spec=plain)
