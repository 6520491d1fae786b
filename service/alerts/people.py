"""What people do about an alert: take it in hand, set it aside, end it; each is a row, never undone."""

import datetime as dt
from typing import Any, Final

import sqlalchemy as sa

from analytics.vocabulary import ClosedBy
from config.folder import SiteFolder
from config.service_log import ServiceEntry
from service.failure import WorkFailed, WrongInput
from service.logbook import append_service
from service.store.alert_tables import alert_history, alerts
from service.store.handling import DATA, Aspect, Handling, marks
from service.store.ledger_tables import episodes
from service.store.store import Store

LONGEST_ASIDE: Final = dt.timedelta(days=366)
_LONGEST_TEXT: Final = 500
_DATE: Final = "the date"


def acknowledge(store: Store, alert_id: int, who: str, note: str, at: dt.datetime) -> None:
    """Write that somebody has an alert in hand; nobody is sent for again while it does not get worse."""
    with store.writer() as connection:
        _open_episode(connection, alert_id)
        _mark(connection, alert_id, Handling.IN_HAND, who, note, at, None)


def shelve(store: Store, alert_id: int, until: dt.date, who: str, note: str, at: dt.datetime) -> None:
    """Set an alert aside up to a plant day, that day included, for a reason."""
    today = at.astimezone(store.zone).date()
    if not today <= until <= today + LONGEST_ASIDE:
        raise WrongInput(
            f"an alert can be set aside from today ({today}) for up to a year, not until {until}"
        )
    _said(note, "a reason is needed to set an alert aside; write it as the note")
    with store.writer() as connection:
        _open_episode(connection, alert_id)
        _mark(connection, alert_id, Handling.SET_ASIDE, who, note, at, until)


def take_up(store: Store, alert_id: int, who: str, note: str, at: dt.datetime) -> None:
    """Write that nobody has an alert in hand any more and that it is not set aside either."""
    with store.writer() as connection:
        _open_episode(connection, alert_id)
        _mark(connection, alert_id, Handling.UNTOUCHED, who, note, at, None)


def close(store: Store, alert_id: int, who: str, note: str, at: dt.datetime) -> None:
    """End an alert by a person's word, for a reason; it opens again if it rises to act afterwards."""
    _said(note, "a reason is needed to end an alert; write it as the note")
    with store.writer() as connection:
        episode = _open_episode(connection, alert_id)
        _mark(connection, alert_id, Handling.OVER, who, note, at, None)
        closed_on = max(episode["opened_on"], at.astimezone(store.zone).date())
        values = {"closed_on": closed_on, "closed_by": ClosedBy.PERSON.value}
        connection.execute(sa.update(episodes).where(episodes.c.alert_id == alert_id).values(**values))
        row = _row(alert_id, Aspect.ALERT, episode["level"], "over", who, note, at)
        connection.execute(sa.insert(alert_history), [row])


def log_service(
    site: SiteFolder, store: Store, alert_id: int, cells: dict[str, str], who: str, at: dt.datetime
) -> ServiceEntry:
    """Enter service done because of an alert: into the service log, and by whom into the alert's history.

    Raises FaultySite, with nothing written, if the entry has a fault.
    """
    with store.reader() as connection:
        fan = connection.execute(sa.select(alerts.c.fan).where(alerts.c.id == alert_id)).scalar()
    if fan is None:
        raise _unknown(alert_id)
    name = _said(who, "a name is needed; say who did it")
    entry = append_service(site.path, {**cells, "fan": fan})
    done = f"{entry.work.value} on {entry.date}"
    with store.writer() as connection:
        row = _row(alert_id, Aspect.WORK, "", done, name, entry.note or "", at)
        connection.execute(sa.insert(alert_history), [row])
    return entry


def lapse_marks(connection: sa.Connection, site: SiteFolder, now: dt.datetime) -> None:
    """Write down where a date has passed or an alert has risen, so that what was said holds no longer."""
    today = now.astimezone(site.site.zone).date()
    is_open = sa.select(episodes.c.alert_id, episodes.c.act_on).where(episodes.c.closed_on.is_(None))
    opened = {row.alert_id: row.act_on for row in connection.execute(is_open)}
    for alert_id, mark in marks(connection).items():
        marked_on = mark.true_from.astimezone(site.site.zone).date()
        if alert_id not in opened or mark.handling is Handling.UNTOUCHED:
            continue
        if not mark.holds(today, marked_on, opened[alert_id]):
            why = f"set aside until {mark.until}" if mark.until and today > mark.until else "it rose to act"
            who = _DATE if mark.until and today > mark.until else DATA
            row = _row(alert_id, Aspect.HANDLING, mark.handling, Handling.UNTOUCHED, who, why, now)
            connection.execute(sa.insert(alert_history), [row])


def _open_episode(connection: sa.Connection, alert_id: int) -> dict[str, Any]:
    found = connection.execute(sa.select(episodes).where(episodes.c.alert_id == alert_id)).one_or_none()
    if found is None:
        raise _unknown(alert_id)
    if found.closed_on is not None:
        raise WorkFailed(
            f"alert {alert_id} of {found.fan} was over on {found.closed_on}; nothing was changed"
        )
    return dict(found._mapping)


def _unknown(alert_id: int) -> WrongInput:
    return WrongInput(f"there is no alert {alert_id}; the alerts and their numbers stand on the fan's page")


def _mark(
    connection: sa.Connection,
    alert_id: int,
    handling: Handling,
    who: str,
    note: str,
    at: dt.datetime,
    until: dt.date | None,
) -> None:
    name = _said(who, "a name is needed; say who it is")
    before = marks(connection, [alert_id]).get(alert_id)
    old = Handling.UNTOUCHED if before is None else before.handling
    row = {**_row(alert_id, Aspect.HANDLING, old, handling, name, note, at), "until": until}
    connection.execute(sa.insert(alert_history), [row])


def _row(
    alert_id: int, aspect: Aspect, old: str, new: str, who: str, why: str, at: dt.datetime
) -> dict[str, Any]:
    return {
        "alert_id": alert_id,
        "aspect": aspect.value,
        "old": str(old),
        "new": str(new),
        "true_from": at,
        "written_at": at,
        "why": " ".join(why.split())[:_LONGEST_TEXT],
        "who": who,
        "until": None,
    }


def _said(text: str, remedy: str) -> str:
    plain = " ".join(text.split())
    if not plain:
        raise WrongInput(remedy)
    return plain[:_LONGEST_TEXT]
