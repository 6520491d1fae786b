"""The weekly mail as it would go out: of a week that is over, or of the one that still runs."""

from dataclasses import dataclass

from service.mail import Week, as_file, last_whole_week, subject_of, text_of, weekly_digest
from service.web.desk import Desk
from service.web.problem import Problem


@dataclass(frozen=True, slots=True)
class MailPage:
    """A week's mail as text; `is_running` while its week is not over by the readings."""

    week: Week
    subject: str
    text: str
    readers: tuple[str, ...]
    goes_out: str
    is_running: bool
    coming: Week


def mail_page(desk: Desk, asked: str) -> MailPage | None:
    """Write the mail of a week, by default the coming one; None before the first reading."""
    wanted, coming = _week(asked), _coming(desk)
    if coming is None:
        return None
    week = wanted or coming
    digest = weekly_digest(desk.site, desk.store, week)
    mail = desk.site.site.mail
    return MailPage(
        week,
        subject_of(digest),
        text_of(digest),
        () if mail is None else tuple(mail.weekly),
        "" if mail is None else mail.weekly_at,
        week > _last_whole(desk),
        coming,
    )


def mail_file(desk: Desk, asked: str) -> bytes:
    """Return the mail of a week as the bytes that a mail program opens."""
    week = _week(asked) or _coming(desk)
    if week is None:
        raise Problem(404, "There is no mail before the first reading.", "pull the exports first")
    return as_file(desk.site, desk.store, week)


def _coming(desk: Desk) -> Week | None:
    """Return the week in which the last reading lies: the next mail is of that."""
    span = desk.store.reading_span()
    return None if span is None else Week.of(span[1].astimezone(desk.site.site.zone).date())


def _last_whole(desk: Desk) -> Week:
    """Return the last week that is over by the readings; asked for only where there are some."""
    span = desk.store.reading_span()
    assert span is not None
    return last_whole_week(span[1], desk.site.site.zone)


def _week(text: str) -> Week | None:
    if not text.strip():
        return None
    try:
        return Week.parse(text)
    except ValueError as error:
        raise Problem(400, f"{error}.", "write an ISO week as 2025-W20") from None
