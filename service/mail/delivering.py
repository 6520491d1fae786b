"""The delivery loop: what waits in the outbox goes out by mail or hook, with a pause after each failure."""

import datetime as dt
import smtplib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from email import message_from_bytes
from email.policy import SMTP
from typing import Any

from config.folder import SiteFolder
from config.secrets import MissingSecret
from service.failure import WorkFailed
from service.mail.hooks import Refused, call
from service.mail.smtp import Server, connected, is_final, refusal, server_of
from service.notices.rows import HOOK, MAIL
from service.store import faults
from service.store.outbox import claim, due, mark_refused, mark_sent
from service.store.store import Store

Clock = Callable[[], dt.datetime]
Row = dict[str, Any]


@dataclass
class Attempts:
    """What one go over some rows did: recipients sent to; what waits or is given up, with the reason.

    `unreached` says why the mail server could not be spoken to, "" where it could.
    """

    sent: list[str] = field(default_factory=list)
    waiting: list[tuple[str, str]] = field(default_factory=list)
    given_up: list[tuple[str, str]] = field(default_factory=list)
    unreached: str = ""


@dataclass(frozen=True, slots=True)
class Delivered:
    """What one go over the outbox did: messages sent, kept for another attempt, given up, and the reasons."""

    sent: int
    waiting: int
    given_up: int
    reasons: tuple[str, ...]


def deliver(store: Store, site: SiteFolder, now: dt.datetime) -> Delivered:
    """Send what is due: an attempt is counted before it is made, a success marked after.

    Stopped in between, a message goes out again after its pause, with the same Message-ID and bytes.
    What fails stays in its row with the reason; nothing is raised for it.
    """
    with store.reader() as connection:
        rows = due(connection, now)
    done = Attempts()
    mails = [row for row in rows if row["channel"] == MAIL]
    if mails:
        try:
            send_mails(store, _server(site), mails, lambda: now, done)
        except (WorkFailed, MissingSecret) as failure:
            _not_reached(store, _claimed(store, mails, lambda: now), str(failure), lambda: now, done)
    for row in rows:
        if row["channel"] == HOOK and _claimed(store, [row], lambda: now):
            _call(store, site, row, now, done)
    reasons = dict.fromkeys(reason for _, reason in [*done.waiting, *done.given_up])
    return Delivered(len(done.sent), len(done.waiting), len(done.given_up), tuple(reasons))


def _server(site: SiteFolder) -> Server:
    if site.site.mail is None:
        raise WorkFailed("site.toml no longer says through which server: [mail] is gone")
    return server_of(site.site.mail.smtp, site.path)


def send_mails(store: Store, server: Server, rows: Sequence[Row], clock: Clock, done: Attempts) -> None:
    """Send some rows' mails in one session and write down in `done` what became of them."""
    left, under_way = list(rows), list[Row]()
    try:
        with connected(server) as smtp:
            while left:
                under_way = _claimed(store, [left.pop(0)], clock)
                for row in under_way:
                    _send(store, smtp, row, clock, done)
                under_way = []
    except WorkFailed as failure:
        # The attempt that the connection was lost in has been counted already.
        _not_reached(store, under_way, str(failure), clock, done)
        _not_reached(store, _claimed(store, left, clock), str(failure), clock, done)


def _claimed(store: Store, rows: Sequence[Row], clock: Clock) -> list[Row]:
    """Count an attempt of each row; return those of which no other process has made one meanwhile."""
    mine = []
    for row in rows:
        with store.writer() as connection:
            if claim(connection, row, clock()):
                mine.append(row)
    return mine


def _not_reached(store: Store, claimed: Sequence[Row], reason: str, clock: Clock, done: Attempts) -> None:
    done.unreached = reason
    for row in claimed:
        _refused(store, row, reason, clock(), done, is_final=False)


def _send(store: Store, smtp: smtplib.SMTP, row: Row, clock: Clock, done: Attempts) -> None:
    store.reached(faults.MAIL_CLAIMED)
    try:
        smtp.send_message(message_from_bytes(row["message"], policy=SMTP))
    except (smtplib.SMTPServerDisconnected, smtplib.SMTPConnectError):
        raise
    except smtplib.SMTPException as error:
        _refused(store, row, refusal(error), clock(), done, is_final=is_final(error))
        return
    store.reached(faults.MAIL_TAKEN)
    _sent(store, row, clock(), done)


def _call(store: Store, site: SiteFolder, row: Row, now: dt.datetime, done: Attempts) -> None:
    hook = next((one for one in site.site.hooks if one.name == row["recipient"]), None)
    if hook is None:
        reason = f"site.toml names no hook {row['recipient']!r} any more"
        _refused(store, row, reason, now, done, is_final=True)
        return
    try:
        call(hook, site.path, row["message"], row["message_id"].strip("<>"), now)
    except Refused as refused:
        _refused(store, row, str(refused), now, done, is_final=refused.is_final)
    except (WorkFailed, MissingSecret) as failure:
        _refused(store, row, str(failure), now, done, is_final=False)
    else:
        _sent(store, row, now, done)


def _sent(store: Store, row: Row, now: dt.datetime, done: Attempts) -> None:
    with store.writer() as connection:
        mark_sent(connection, row, now)
    done.sent.append(row["recipient"])


def _refused(
    store: Store, row: Row, reason: str, now: dt.datetime, done: Attempts, *, is_final: bool
) -> None:
    with store.writer() as connection:
        is_given_up = mark_refused(connection, row, reason, now, is_final=is_final)
    (done.given_up if is_given_up else done.waiting).append((row["recipient"], reason))
