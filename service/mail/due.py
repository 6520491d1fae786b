"""What the calendar asks for, and which change has now run long enough to be held against the time before."""

import datetime as dt
from typing import Final
from urllib.parse import urlencode

from analytics.vocabulary import Work
from service.mail.known import Known
from service.mail.lists import Entry
from service.store.check_figure import CheckFigure, check_figure
from service.store.due_words import grease_words, recheck_words
from service.store.fleet import FanStanding
from service.words import capital, one_line, plain_date

# What is bought for its saving; a retensioned belt has its verdict on slip.
_BOUGHT: Final = (
    Work.RETROFIT,
    Work.SHEAVE_CHANGED,
    Work.TENSIONER_FITTED,
    Work.MOTOR_REPLACED,
    Work.DRIVE_REPLACED,
    Work.SETPOINT_CHANGED,
    Work.SPEED_LIMIT_CHANGED,
)
_FOUR_WEEKS: Final = dt.timedelta(days=28)


def due_entries(known: Known) -> tuple[Entry, ...]:
    """Return the rechecks of belts and the greasing that are due when the week ends."""
    return tuple(
        Entry(one_line(fan.fan), f"{capital(words)}.")
        for fan in known.fleet
        for words in (*_rechecks(known, fan), *_greasing(known, fan))
    )


def _rechecks(known: Known, fan: FanStanding) -> list[str]:
    words = recheck_words(known.epoch(fan.fan), known.served(fan.fan), known.last_day)
    return [words] if words else []


def _greasing(known: Known, fan: FanStanding) -> list[str]:
    epoch = known.epoch(fan.fan)
    if epoch.bearing_bore_mm is None:
        return []  # the check figure, which gives the speed, reads a day's hours
    figure = check_figure(known.site, known.store, fan.fan, known.last_day)
    rpm = figure.tight_rpm if isinstance(figure, CheckFigure) else None
    words = grease_words(epoch, known.served(fan.fan), known.last_day, fan.hours_a_day, rpm)
    return [words] if "overdue" in words else []


def saved_entries(known: Known) -> tuple[Entry, ...]:
    """Return the changes of which four weeks of readings are there this week, and where their saving is."""
    return tuple(
        Entry(one_line(fan.fan), _saved(known, fan.fan, entry.work, entry.date))
        for fan in known.fleet
        for entry in known.served(fan.fan)
        if entry.work in _BOUGHT and known.week.first <= entry.date + _FOUR_WEEKS <= known.last_day
    )


def _saved(known: Known, fan: str, work: Work, date: dt.date) -> str:
    what = capital(work.value.replace("_", " "))
    url, day = known.site.site.web.public_url, dt.timedelta(days=1)
    where = f"{url}/retrofit?{urlencode({'fan': fan, 'day': date.isoformat()})}"
    if not url:
        before, after = f"{date - _FOUR_WEEKS}..{date - day}", f"{date + day}..{date + _FOUR_WEEKS}"
        where = f'slipledger retrofit SITE --fan "{one_line(fan)}" --before {before} --after {after}'
    return (
        f"{what} on {plain_date(date)}, four weeks ago: what it saved at the same air, and whether that was "
        f"promised, can be told now: {where}"
    )
