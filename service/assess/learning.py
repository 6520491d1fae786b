"""Keep every fan's healthy curves, learned again only when what they are made of changes."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
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
from service.assess.periods import IndexedDay, Stretch, curves_digest, known_stretches, new_wheels, stretches
from service.assess.step_tests import with_step_tests
from service.assess.workers import Piece, Workers
from service.store.fitted import FULL_CURRENT, curves_as_json, curves_from_json, machine_judged
from service.store.ledger_tables import curves as curves_table
from service.store.sight import FanSight, sight_from_json
from service.store.store import Store
from service.store.tables_read import TablesRead

_DAY: Final = dt.timedelta(days=1)
_COMMAND_LEFT_ON: Final = "is_command_left_on"
_USUAL_IDLE_SHARE: Final = 0.02
_FITS_A_PIECE: Final = 8
# A fit takes as long as so many days' judgement.
_FIT_FAN_DAYS: Final = 150.0


def learn(
    site: SiteFolder,
    store: Store,
    complete: Mapping[str, Sequence[IndexedDay]],
    now: dt.datetime,
    workers: Workers,
) -> dict[str, list[Learned]]:
    """Return the stretches of some fans with their healthy curves, fitting those that changed.

    Parameters: `complete`, each fan's complete days; `now`; `workers` who fit.
    """
    over = (now - _DAY).astimezone(site.site.zone).date() - _DAY
    wanted: dict[str, list[tuple[Stretch, str]]] = {}
    for fan, days in complete.items():
        complete_to = max(days[-1].date, over) if days else over
        found = stretches(site.epochs(fan), days, complete_to, new_wheels(site.entries(fan), fan))
        wanted[fan] = [(stretch, curves_digest(stretch, days)) for stretch in found]
    held = held_curves(store, list(complete))
    due = [
        (stretch, digest)
        for parts in wanted.values()
        for stretch, digest in parts
        if held.get((stretch.fan, stretch.number), {}).get("digest") != digest
    ]
    for row in _fitted_by(workers, site, store, due):
        held[row["fan"], row["epoch"]] = row
    for fan, parts in wanted.items():
        _forget(store, fan, len(parts), held)
    return {
        fan: [_learned(stretch, held[fan, stretch.number]) for stretch, _ in parts]
        for fan, parts in wanted.items()
    }


def learned_before(
    site: SiteFolder, fan: str, held: Mapping[tuple[str, int], Mapping[str, Any]]
) -> list[Learned]:
    """Return a fan's stretches as they were learned before; none where another number of them is due.

    Parameters: `held`, the rows of `held_curves`.
    """
    rows: list[Mapping[str, Any]] = []
    while (fan, len(rows)) in held:
        rows.append(held[fan, len(rows)])
    healthy = [(row["first_date"], row["last_date"]) for row in rows]
    parts = known_stretches(site.epochs(fan), healthy, new_wheels(site.entries(fan), fan))
    return [_learned(stretch, row) for stretch, row in zip(parts, rows[: len(parts)], strict=True)]


def _fitted_by(
    workers: Workers, site: SiteFolder, store: Store, due: Sequence[tuple[Stretch, str]]
) -> Iterator[dict[str, Any]]:
    """Yield the rows of stretches as they are fitted and written down."""
    tables = store.tables()
    parts = [due[start : start + _FITS_A_PIECE] for start in range(0, len(due), _FITS_A_PIECE)]
    pieces = (
        Piece(
            (tables, site.of_fans({stretch.fan for stretch, _ in part}), part),
            _FIT_FAN_DAYS * sum(not stretch.reason for stretch, _ in part),
        )
        for part in parts
    )
    for rows in workers.in_order(_fitted, pieces):
        with store.writer() as connection:
            for row in rows:
                which = (curves_table.c.fan == row["fan"]) & (curves_table.c.epoch == row["epoch"])
                connection.execute(sa.delete(curves_table).where(which))
            connection.execute(sa.insert(curves_table), rows)
        yield from rows


def held_curves(store: Store, fans: Sequence[str]) -> dict[tuple[str, int], dict[str, Any]]:
    """Return the rows of some fans' healthy curves as they are written down, by fan and stretch."""
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


def _fitted(tables: TablesRead, site: SiteFolder, due: Sequence[tuple[Stretch, str]]) -> list[dict[str, Any]]:
    """Return the rows of stretches: what is written is used, so that all runs see the same bits."""
    hours = _healthy_hours(tables, site, [stretch for stretch, _ in due if not stretch.reason])
    return [
        _row(tables, stretch, digest, hours.get((stretch.fan, stretch.number))) for stretch, digest in due
    ]


def _row(tables: TablesRead, stretch: Stretch, digest: str, hours: pd.DataFrame | None) -> dict[str, Any]:
    written, reason, told = None, stretch.reason, None
    if hours is not None:
        machine = machine_judged(stretch.epoch.machine, None)
        refusals = () if hours.empty else refused_points(hours, machine)
        try:
            written, told = _fit(tables, stretch.fan, hours, machine, refusals)
        except TooLittleHealthyDataError as error:
            reason, told = str(error), FanSight(None, refusals)
    return {
        "fan": stretch.fan,
        "epoch": stretch.number,
        "digest": digest,
        "first_date": stretch.first,
        "last_date": stretch.last,
        "fitted": written,
        "reason": reason or None,
        "sight": None if told is None else told.as_json(),
    }


def _healthy_hours(
    tables: TablesRead, site: SiteFolder, due: Sequence[Stretch]
) -> dict[tuple[str, int], pd.DataFrame]:
    """Return each stretch's hours; those of one healthy period are read together."""
    together: dict[tuple[dt.date, dt.date], list[Stretch]] = {}
    for stretch in due:
        if stretch.first is None or stretch.last is None:
            raise ValueError(f"{stretch.fan} has no healthy period to read")
        together.setdefault((stretch.first, stretch.last), []).append(stretch)
    found: dict[tuple[str, int], pd.DataFrame] = {}
    for (first, last), members in together.items():
        start, end = midnight(site, first), midnight(site, last + _DAY)
        frame = tables.hours.read([stretch.fan for stretch in members], start, end)
        for stretch in members:
            found[stretch.fan, stretch.number] = frame[frame["fan"] == stretch.fan].reset_index(drop=True)
    return found


def _fit(
    tables: TablesRead, fan: str, hours: pd.DataFrame, machine: Machine, refusals: tuple[Refusal, ...]
) -> tuple[dict[str, Any], FanSight]:
    if hours.empty:
        raise TooLittleHealthyDataError("no readings in the healthy period")
    whole = without(with_step_tests(tables, fan, hours, machine), refusals)
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
