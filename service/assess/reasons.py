"""Why does the ledger say so: one fan's day with its evidence."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from analytics.evidence import EvidenceLine, Seen, evidence
from analytics.judging import fan_day
from analytics.model import SIZE
from analytics.new_normal import normal_from_json
from analytics.scaled_hours import scaled_hours
from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.assess.fan_hours import midnight
from service.assess.periods import new_wheels, stretch_at
from service.store.fitted import curves_from_json, machine_judged
from service.store.ledger_tables import curves as curves_table
from service.store.ledger_tables import daily, episodes
from service.store.sight import sight_from_json
from service.store.store import Store


@dataclass(frozen=True, slots=True)
class Why:
    """A ledger row, what was seen that day, each cause held against it, and the alerts open then.

    `healthy` describes the healthy period in words, `sight` what the fan's points let be seen; `seen` and
    `lines` are None and empty where the day has no hours in the fitted range or the fan no healthy curves.
    """

    row: dict[str, Any] | None
    healthy: str
    sight: str
    seen: Seen | None
    lines: tuple[EvidenceLine, ...]
    alerts: tuple[str, ...]


def why(site: SiteFolder, store: Store, fan: str, date: dt.date | None = None) -> Why:
    """Return the verdict of a fan's day (default: its latest) with its evidence."""
    with store.reader() as connection:
        query = sa.select(daily).where(daily.c.fan == fan).order_by(daily.c.date.desc()).limit(1)
        if date is not None:
            query = query.where(daily.c.date == date)
        row = connection.execute(query).one_or_none()
        held = connection.execute(
            sa.select(curves_table).where(curves_table.c.fan == fan).order_by(curves_table.c.epoch)
        ).all()
        opened = connection.execute(
            sa.select(episodes).where(episodes.c.fan == fan).order_by(episodes.c.opened_at)
        ).all()
    if row is None:
        words = _healthy_words(held[-1]) if held else "no healthy period yet"
        return Why(None, words, _sight_words(held[-1]) if held else "", None, (), ())
    number, epoch = stretch_at(site.epochs(fan), row.date, new_wheels(site.service, fan))
    part = next((one for one in held if one.epoch == number), None)
    alerts = tuple(
        f"{alert.opened_on}: {alert.message}"
        for alert in opened
        if alert.opened_on <= row.date and (alert.closed_on is None or alert.closed_on > row.date)
    )
    seen, lines = _evidence(site, store, epoch, row, part)
    words = _healthy_words(part) if part is not None else "no healthy period yet"
    can_see = _sight_words(part) if part is not None else ""
    return Why(dict(row._mapping), words, can_see, seen, lines, alerts)


def _sight_words(part: Any) -> str:
    told = sight_from_json(part.sight)
    return "; ".join(words for words in (*told.refused_words, told.seen_words) if words)


def _healthy_words(part: Any) -> str:
    told = sight_from_json(part.sight)
    if part.fitted is None:
        return "; ".join([f"no healthy curves: {part.reason}", *told.refused_words])
    fitted = curves_from_json(part.fitted)
    errors = f"{100 * fitted.pressure_cv_rmse:.1f} % and of load {100 * fitted.load_cv_rmse:.1f} %"
    biases = f"{100 * fitted.pressure_nmbe:+.2f} % and {100 * fitted.load_nmbe:+.2f} %"
    words = (
        f"{part.first_date} to {part.last_date}: {fitted.hours} steady hours on {fitted.days} days; "
        f"CV(RMSE) of pressure {errors}, bias (NMBE) {biases}"
    )
    return "; ".join([words, *told.quality_words])


def _evidence(
    site: SiteFolder, store: Store, epoch: FanEpoch, row: Any, part: Any
) -> tuple[Seen | None, tuple[EvidenceLine, ...]]:
    if part is None or part.fitted is None:
        return None, ()
    curves = curves_from_json(part.fitted)
    if len(curves.mean) != SIZE:
        # Curves of another version of the results wait for the next `assess`.
        return None, ()
    start, end = midnight(site, row.date), midnight(site, row.date + dt.timedelta(days=1))
    hours = store.hours.read([epoch.fan], start, end)
    if hours.empty:
        return None, ()
    machine = machine_judged(epoch.machine, part.fitted)
    scaled = scaled_hours(hours, machine, curves.channels)
    packed = replace(fan_day(scaled, curves, (), 1.0), normal=normal_from_json(row.new_normal))
    if packed.hours_used == 0:
        return None, ()
    return evidence(packed, curves, machine)
