"""Keep every fan's healthy curves, learned again only when what they are made of changes."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.curves import TooLittleHealthyDataError
from analytics.healthy_quality import healthy_quality
from analytics.judging import healthy
from analytics.machine import Machine
from analytics.scaled_hours import scaled_hours
from analytics.sight import sight
from analytics.wrong_points import Refusal, refused_points, without
from config.folder import SiteFolder
from service.assess.fan_hours import midnight
from service.assess.lanes import Learned
from service.assess.periods import IndexedDay, Stretch, curves_digest, new_wheels, stretches
from service.assess.step_tests import with_step_tests
from service.store.fitted import FULL_CURRENT, curves_as_json, curves_from_json, machine_judged
from service.store.ledger_tables import curves as curves_table
from service.store.sight import FanSight, sight_from_json
from service.store.store import Store

_DAY: Final = dt.timedelta(days=1)
_COMMAND_LEFT_ON: Final = "is_command_left_on"
_USUAL_IDLE_SHARE: Final = 0.02


def learn(
    site: SiteFolder, store: Store, complete: Mapping[str, Sequence[IndexedDay]], now: dt.datetime
) -> dict[str, list[Learned]]:
    """Return the stretches of some fans with their healthy curves, fitting those that changed.

    Parameters: `complete`, each fan's complete days; `now`.
    """
    over = (now - _DAY).astimezone(site.site.zone).date() - _DAY
    wanted: dict[str, list[tuple[Stretch, str]]] = {}
    for fan, days in complete.items():
        complete_to = max(days[-1].date, over) if days else over
        found = stretches(site.epochs(fan), days, complete_to, new_wheels(site.service, fan))
        wanted[fan] = [(stretch, curves_digest(stretch, days)) for stretch in found]
    held = _held(store, list(complete))
    learned: dict[str, list[Learned]] = {}
    for fan, parts in wanted.items():
        learned[fan] = []
        for stretch, digest in parts:
            row = held.get((fan, stretch.number))
            if row is None or row["digest"] != digest:
                row = _fitted(site, store, stretch, digest)
            learned[fan].append(_learned(stretch, row))
        _forget(store, fan, len(parts), held)
    return learned


def _held(store: Store, fans: Sequence[str]) -> dict[tuple[str, int], dict[str, Any]]:
    query = sa.select(curves_table).where(curves_table.c.fan.in_(fans))
    with store.reader() as connection:
        rows = [dict(row._mapping) for row in connection.execute(query)]
    return {(row["fan"], row["epoch"]): row for row in rows}


def _forget(store: Store, fan: str, count: int, held: Mapping[tuple[str, int], Any]) -> None:
    if all(number < count for name, number in held if name == fan):
        return
    with store.writer() as connection:
        gone = (curves_table.c.fan == fan) & (curves_table.c.epoch >= count)
        connection.execute(sa.delete(curves_table).where(gone))


def _learned(stretch: Stretch, row: Mapping[str, Any]) -> Learned:
    written = row["fitted"]
    machine = machine_judged(stretch.epoch.machine, written)
    curves = None if written is None else curves_from_json(written)
    is_left_on = written is not None and written[_COMMAND_LEFT_ON]
    told = sight_from_json(row["sight"])
    return Learned(stretch, machine, curves, row["digest"], row["reason"] or "", is_left_on, told)


def _fitted(site: SiteFolder, store: Store, stretch: Stretch, digest: str) -> dict[str, Any]:
    """Fit, write down, and return what was written, so that a first run and a later one see the same bits."""
    written, reason, told = None, stretch.reason, None
    if not reason:
        hours = _healthy_hours(site, store, stretch)
        machine = machine_judged(stretch.epoch.machine, None)
        refusals = () if hours.empty else refused_points(hours, machine)
        try:
            written, told = _fit(store, stretch.fan, hours, machine, refusals)
        except TooLittleHealthyDataError as error:
            reason, told = str(error), FanSight(None, refusals)
    row = {
        "fan": stretch.fan,
        "epoch": stretch.number,
        "digest": digest,
        "first_date": stretch.first,
        "last_date": stretch.last,
        "fitted": written,
        "reason": reason or None,
        "sight": None if told is None else told.as_json(),
    }
    with store.writer() as connection:
        which = (curves_table.c.fan == stretch.fan) & (curves_table.c.epoch == stretch.number)
        connection.execute(sa.delete(curves_table).where(which))
        connection.execute(sa.insert(curves_table), [row])
    return row


def _healthy_hours(site: SiteFolder, store: Store, stretch: Stretch) -> pd.DataFrame:
    if stretch.first is None or stretch.last is None:
        raise ValueError(f"{stretch.fan} has no healthy period to read")
    start, end = midnight(site, stretch.first), midnight(site, stretch.last + _DAY)
    return store.hours.read([stretch.fan], start, end)


def _fit(
    store: Store, fan: str, hours: pd.DataFrame, machine: Machine, refusals: tuple[Refusal, ...]
) -> tuple[dict[str, Any], FanSight]:
    if hours.empty:
        raise TooLittleHealthyDataError("no readings in the healthy period")
    whole = without(with_step_tests(store, fan, hours, machine), refusals)
    fitted = curves_as_json(healthy(whole, whole["day"].to_numpy(dtype=float), machine))
    full, left_on = _full_current(hours, machine), _is_command_left_on(hours)
    written = {**fitted, FULL_CURRENT: full, _COMMAND_LEFT_ON: left_on}
    curves, judged = curves_from_json(written), machine_judged(machine, written)
    scaled, day = scaled_hours(hours, judged, curves.channels), hours["day"].to_numpy(dtype=float)
    return written, FanSight(
        sight(curves, judged, scaled, day),
        refusals,
        healthy_quality(curves, judged, scaled, day),
        step_test_levels=len(whole) - len(hours),
    )


def _is_command_left_on(hours: pd.DataFrame) -> bool:
    # Many speed points hold their last value while the fan is off: that is no command to run, and a fan
    # stopped under it has not failed.
    idle = hours["late_is_told"].to_numpy(dtype=bool) & (hours["running"].to_numpy(dtype=np.float64) == 0.0)
    return bool(idle.mean() > _USUAL_IDLE_SHARE)


def _full_current(hours: pd.DataFrame, machine: Machine) -> float | None:
    # Without a nameplate the fit scales amps by the healthy period's greatest; later days must use the same.
    current = hours["current_a"].to_numpy(dtype=np.float64)
    if machine.motor_rated_current_a or np.isnan(current).all():
        return None
    return float(np.nanpercentile(current, 99))
