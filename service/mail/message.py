"""A week's mail as a message: headers that nothing can be injected into, text, HTML and its pictures."""

import datetime as dt
import hashlib
from email.message import EmailMessage, MIMEPart

from config import Mail, SiteFolder
from service.mail.digest import Digest, weekly_digest
from service.mail.html import html_of
from service.mail.opening import subject_of
from service.mail.text import text_of
from service.mail.weeks import Week
from service.notices.headers import headed, message_id
from service.store import Store


def as_message(digest: Digest, sender: str, recipients: tuple[str, ...], when: dt.datetime) -> EmailMessage:
    """Return the mail to some recipients, dated `when`.

    Its Message-ID follows from site, recipients and week alone, so that a second delivery is known as one.
    """
    identity = message_id(digest.site, recipients, str(digest.week), sender, str(digest.week).lower())
    message = headed(subject_of(digest), sender, recipients, when, identity)
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


def as_file(site: SiteFolder, store: Store, week: Week) -> bytes:
    """Return a week's mail as the bytes that a mail program opens, dated when the week ended.

    Where site.toml has no [mail] it comes from the sender that is usual there, to nobody.
    """
    mail = site.site.mail or Mail()
    ended = week.ends(site.site.zone)
    return as_message(weekly_digest(site, store, week), mail.sender, mail.weekly, ended).as_bytes()
