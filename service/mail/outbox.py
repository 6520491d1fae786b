"""Sends the weekly mail: a row is written before a mail goes out, and marked after."""

import datetime as dt
import smtplib
from collections.abc import Callable
from dataclasses import dataclass
from email import message_from_bytes
from email.policy import SMTP
from email.utils import parseaddr
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError

from config.folder import SiteFolder
from config.site import Mail
from service.failure import WorkFailed
from service.mail.digest import weekly_digest
from service.mail.message import as_message, message_id
from service.mail.opening import subject_of
from service.mail.smtp import connected, refusal, server_of
from service.mail.weeks import Week
from service.mail.writing import one_line
from service.store.mail_tables import outbox
from service.store.store import Store

Clock = Callable[[], dt.datetime]


@dataclass(frozen=True, slots=True)
class Delivery:
    """What became of a week's mail: addresses sent to now, sent to before, and refused with the reason."""

    sent: tuple[str, ...]
    sent_before: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]


def send_weekly(site: SiteFolder, store: Store, week: Week, clock: Clock) -> Delivery:
    """Send a week's mail to everyone in `weekly` who has not had it.

    Each recipient's row, with the message as it will go out, is committed first. Stopped between sending
    and marking, the next call sends the same message with the same Message-ID; never another one.
    """
    mail = site.site.mail
    if mail is None or not mail.weekly:
        raise WorkFailed("site.toml names nobody to send it to: write [mail] with from, weekly and smtp")
    server = server_of(mail.smtp, site.path)
    recipients = {parseaddr(one)[1].casefold(): one for one in mail.weekly}
    _write_missing(site, store, week, mail, recipients, clock)
    rows = _rows(store, week, list(recipients))
    before = tuple(row["recipient"] for row in rows if row["sent_at"] is not None)
    waiting = [row for row in rows if row["sent_at"] is None]
    sent: list[str] = []
    refused: list[tuple[str, str]] = []
    if waiting:
        try:
            with connected(server) as smtp:
                for row in waiting:
                    reason = _deliver(store, smtp, row, clock)
                    if reason is None:
                        sent.append(row["recipient"])
                    else:
                        refused.append((row["recipient"], reason))
        except WorkFailed as failure:
            _note(store, [row["id"] for row in waiting if row["recipient"] not in sent], str(failure))
            raise
    return Delivery(tuple(sent), before, tuple(refused))


def _write_missing(
    site: SiteFolder, store: Store, week: Week, mail: Mail, recipients: dict[str, str], clock: Clock
) -> None:
    held = {row["recipient"] for row in _rows(store, week, list(recipients))}
    missing = {plain: whole for plain, whole in recipients.items() if plain not in held}
    if not missing:
        return
    digest = weekly_digest(site, store, week)
    now = clock()
    for plain, whole in missing.items():
        message = as_message(digest, mail.sender, (whole,), now)
        values = {
            "recipient": plain,
            "week": str(week),
            "message_id": message_id(digest.site, (whole,), week, mail.sender),
            "subject": one_line(subject_of(digest)),
            "message": message.as_bytes(),
            "written_at": now,
            "attempts": 0,
        }
        try:
            with store.writer() as connection:
                connection.execute(sa.insert(outbox), [values])
        except IntegrityError:
            # Another process has written this recipient's mail meanwhile: that one goes out.
            continue


def _rows(store: Store, week: Week, recipients: list[str]) -> list[dict[str, Any]]:
    query = sa.select(outbox).where(outbox.c.week == str(week), outbox.c.recipient.in_(recipients))
    with store.reader() as connection:
        return [dict(row._mapping) for row in connection.execute(query.order_by(outbox.c.id))]


def _deliver(store: Store, smtp: smtplib.SMTP, row: dict[str, Any], clock: Clock) -> str | None:
    """Send one row's message and mark it; return why the server refused it, None when it is sent."""
    mine = outbox.c.id == row["id"]
    with store.writer() as connection:
        connection.execute(sa.update(outbox).where(mine).values(attempts=outbox.c.attempts + 1))
    message = message_from_bytes(row["message"], policy=SMTP)
    try:
        smtp.send_message(message)
    except (smtplib.SMTPServerDisconnected, smtplib.SMTPConnectError):
        raise
    except smtplib.SMTPException as error:
        reason = refusal(error)
        _note(store, [row["id"]], reason)
        return reason
    with store.writer() as connection:
        connection.execute(sa.update(outbox).where(mine).values(sent_at=clock(), last_error=None))
    return None


def _note(store: Store, ids: list[int], reason: str) -> None:
    with store.writer() as connection:
        connection.execute(sa.update(outbox).where(outbox.c.id.in_(ids)).values(last_error=reason))
