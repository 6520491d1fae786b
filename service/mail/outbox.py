"""The weekly mail's way out: written once a recipient and week, then sent and marked."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from config.folder import SiteFolder
from config.site import Mail
from service.failure import WorkFailed
from service.mail.delivering import Attempts, send_mails
from service.mail.digest import Digest, weekly_digest
from service.mail.message import as_message
from service.mail.opening import subject_of
from service.mail.readers import Circle, Reader, weekly_readers
from service.mail.smtp import server_of
from service.mail.weeks import Week
from service.store import faults
from service.store.alert_tables import alerts
from service.store.mail_tables import outbox
from service.store.outbox import write_once
from service.store.store import Store
from service.words import one_line

Clock = Callable[[], dt.datetime]
_NOBODY = "site.toml names nobody to send it to: write [mail] with from, weekly and smtp"


@dataclass(frozen=True, slots=True)
class Delivery:
    """What became of a week's mail: addresses sent to now, sent to before, and refused with the reason."""

    sent: tuple[str, ...]
    sent_before: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]


def write_weekly(site: SiteFolder, store: Store, week: Week, now: dt.datetime) -> int:
    """Put a week's mail for everyone who has no row yet into the outbox; return how many those were.

    Each row holds the message as it will go out. Two processes at once write one row a recipient.
    """
    mail = site.site.mail
    readers = {} if mail is None else weekly_readers(mail)
    held = {row["recipient"] for row in _rows(store, week, list(readers))}
    missing = {plain: reader for plain, reader in readers.items() if plain not in held}
    if mail is None or not missing:
        return 0
    digests: dict[Circle, Digest] = {}
    for reader in missing.values():
        if reader.circle not in digests:
            digests[reader.circle] = weekly_digest(site, store, week, reader.circle)
    rows = [_row(mail, digests[reader.circle], plain, reader, now) for plain, reader in missing.items()]
    told = sorted({alert for digest in digests.values() for alert in digest.alerts})
    with store.writer() as connection:
        written = write_once(connection, rows)
        is_new = alerts.c.id.in_(told) & alerts.c.told_at.is_(None)
        connection.execute(sa.update(alerts).where(is_new).values(told_at=now))
    store.reached(faults.WEEK_WRITTEN)
    return written


def send_weekly(site: SiteFolder, store: Store, week: Week, clock: Clock) -> Delivery:
    """Send a week's mail to everyone it is for who has not had it.

    Each recipient's row, with the message as it will go out, is committed first. Stopped between sending
    and marking, the next call sends the same message with the same Message-ID; never another one. What a
    server refused for good is tried again: somebody asked for it.
    """
    mail = site.site.mail
    readers = {} if mail is None else weekly_readers(mail)
    if mail is None or not readers:
        raise WorkFailed(_NOBODY)
    server = server_of(mail.smtp, site.path)
    write_weekly(site, store, week, clock())
    rows = _rows(store, week, list(readers))
    before = tuple(row["recipient"] for row in rows if row["sent_at"] is not None)
    waiting = [row for row in rows if row["sent_at"] is None]
    done = Attempts()
    if waiting:
        send_mails(store, server, waiting, clock, done)
    if done.unreached and not done.sent:
        raise WorkFailed(done.unreached)
    return Delivery(tuple(done.sent), before, tuple(done.waiting + done.given_up))


def _row(mail: Mail, digest: Digest, plain: str, reader: Reader, now: dt.datetime) -> dict[str, Any]:
    message = as_message(digest, mail.sender, (reader.whole,), now)
    return {
        "channel": "mail",
        "recipient": plain,
        "occasion": str(digest.week),
        "message_id": str(message["Message-ID"]),
        "subject": one_line(subject_of(digest)),
        "message": message.as_bytes(),
        "written_at": now,
        "attempts": 0,
        "next_attempt_at": now,
    }


def _rows(store: Store, week: Week, recipients: list[str]) -> list[dict[str, Any]]:
    is_theirs = (outbox.c.channel == "mail") & outbox.c.recipient.in_(recipients)
    query = sa.select(outbox).where(outbox.c.occasion == str(week), is_theirs)
    with store.reader() as connection:
        return [dict(row._mapping) for row in connection.execute(query.order_by(outbox.c.id))]
