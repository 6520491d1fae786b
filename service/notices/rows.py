"""The outbox rows of a notice: whom it is for by building and trade, and what each of them will get."""

import datetime as dt
import json
from collections.abc import Iterator
from typing import Any, Final

from config.folder import SiteFolder
from config.site import Crew, Mail
from service.notices.headers import headed, message_id, plain_address
from service.notices.letter import html_of, text_of
from service.notices.notice import Notice, Trade
from service.words import one_line

MAIL: Final = "mail"
HOOK: Final = "hook"
_BEGINS: Final = "notice"


def rows_for(site: SiteFolder, notice: Notice, now: dt.datetime) -> list[dict[str, Any]]:
    """Return a row for everyone who is to be told at once, each with the whole message."""
    return [*_mails(site, notice, now), *_calls(site, notice, now)]


def asked(site: SiteFolder) -> str:
    """Return who answers questions: `ask` of [mail], else the sender."""
    mail = site.site.mail
    if mail is None:
        return "the person who runs this program"
    return one_line(mail.ask or mail.sender)


def concerns(crew: Crew, buildings: tuple[str, ...], trade: Trade | None) -> bool:
    """Tell whether a crew is told of some buildings and a trade; of what concerns all, everyone is."""
    is_theirs = not crew.buildings or not buildings or bool(set(crew.buildings) & set(buildings))
    return is_theirs and (not crew.trade or trade is None or crew.trade == trade.value)


def _recipients(site: SiteFolder, notice: Notice) -> dict[str, str]:
    mail = site.site.mail
    if mail is None:
        return {}
    told = _getting("immediate", mail, notice)
    if not told and notice.is_for_someone:
        told = _getting("weekly", mail, notice)
    return {plain_address(one): one for one in told}


def _getting(what: str, mail: Mail, notice: Notice) -> list[str]:
    told = [*(mail.immediate if what == "immediate" else mail.weekly)]
    for crew in mail.crews:
        if what in crew.gets and concerns(crew, notice.buildings, notice.trade):
            told += crew.to
    return told


def _mails(site: SiteFolder, notice: Notice, now: dt.datetime) -> Iterator[dict[str, Any]]:
    mail = site.site.mail
    if mail is None:
        return
    ask = asked(site)
    for plain, whole in _recipients(site, notice).items():
        identity = message_id(site.site.name, [whole], notice.occasion, mail.sender, _BEGINS)
        message = headed(notice.subject, mail.sender, [whole], now, identity)
        message.set_content(text_of(notice, ask))
        message.add_alternative(html_of(notice, ask), subtype="html")
        yield _row(MAIL, plain, notice, identity, message.as_bytes(), now)


def _calls(site: SiteFolder, notice: Notice, now: dt.datetime) -> Iterator[dict[str, Any]]:
    sender = "" if site.site.mail is None else site.site.mail.sender
    for hook in site.site.hooks:
        if hook.buildings and notice.buildings and not set(hook.buildings) & set(notice.buildings):
            continue
        identity = message_id(site.site.name, [hook.name], notice.occasion, sender, _BEGINS)
        body = {
            "id": identity.strip("<>"),
            "site": site.site.name,
            "kind": notice.kind,
            "decided_at": f"{now.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
            "subject": one_line(notice.subject),
            "text": list(notice.said),
            "details": dict(notice.details),
            "ask": asked(site),
        }
        yield _row(HOOK, hook.name, notice, identity, json.dumps(body, sort_keys=True).encode(), now)


def _row(
    channel: str, recipient: str, notice: Notice, identity: str, message: bytes, now: dt.datetime
) -> dict[str, Any]:
    return {
        "channel": channel,
        "recipient": recipient,
        "occasion": notice.occasion,
        "message_id": identity,
        "subject": one_line(notice.subject),
        "message": message,
        "written_at": now,
        "attempts": 0,
        "next_attempt_at": now,
    }
