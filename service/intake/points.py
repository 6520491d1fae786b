"""Point names in the exports that no fan uses, each with the role it most likely has."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import sqlalchemy as sa

from analytics.vocabulary import Role
from config.folder import SiteFolder
from service.intake.mapping import map_points
from service.intake.numbers import OFF_WORDS, ON_WORDS
from service.store import Store
from service.store.tables import exports, generations, passes, points_seen

COLUMNS: Final = ("point", "proposed_role", "reason", "cells", "low", "high", "example", "file")


@dataclass(frozen=True, slots=True)
class _Hint:
    """Words that speak for a role, and the range that its values keep whatever the unit."""

    role: Role
    words: str
    low: float
    high: float


# The first hint whose words and range fit wins: the special before the general.
_HINTS: Final = (
    _Hint(Role.WHEEL_SPEED, r"(wheel|fan|impeller).*(rpm|tach)|rpm.*(wheel|impeller)", 0.0, 6000.0),
    _Hint(Role.MOTOR_SPEED, r"(motor|mtr).*(rpm|tach)|\brpm\b", 0.0, 8000.0),
    _Hint(Role.OUTDOOR_AIR_DAMPER, r"damper|\bdmpr?\b|\boad\b|economi[sz]er", -5.0, 110.0),
    _Hint(Role.TORQUE, r"torque|\btrq\b|\btq\b", -50.0, 250.0),
    _Hint(Role.RUN_STATUS, r"status|\bstat\b|\brun(ning)?\b|proof|on[ _/-]?off|\bsts\b|\bss\b", 0.0, 1.0),
    _Hint(Role.POWER, r"power|\bk?w\b|watt|\bpwr\b|\bhp\b", -1000.0, 1e6),
    _Hint(Role.CURRENT, r"current|\bamp(ere)?s?\b|\bcur(r)?\b|\ba\b", -5.0, 2000.0),
    _Hint(Role.AIR_TEMPERATURE, r"temp(erature)?|\b[smrdo]at\b|deg ?[cf]|°", -60.0, 250.0),
    _Hint(Role.AIRFLOW, r"air ?flow|\bflow\b|\bcfm\b|l/s|m3/[sh]|m³/[sh]|volume", -1e5, 1e7),
    _Hint(Role.PRESSURE, r"press(ure)?|static|\bd?sp\b|\bdp\b|in ?w\.?[gc]|\bk?pa\b|\"wc", -1e4, 1e4),
    _Hint(Role.SPEED, r"speed|\bspd\b|vfd|vsd|freq(uency)?|\bhz\b|drive", -30.0, 130.0),
)


def unused_points(site: SiteFolder, store: Store) -> pd.DataFrame:
    """Return the unused point names of the exports read, with a proposed role and what speaks for it.

    The database sums up what all exports said of a name: there is a row a point and export, for years.
    """
    used = map_points(site).targets
    with store.reader() as connection:
        unused = [one for one in connection.execute(_summed_up()) if one.name not in used]
        examples = _told_in(connection, {one.name: one.first_told for one in unused}, points_seen.c.example)
        files = _told_in(connection, {one.name: one.last_seen for one in unused}, exports.c.file)
    rows = []
    for one in unused:
        low, high = (float("nan") if value is None else float(value) for value in (one.low, one.high))
        example = examples.get(one.name, "")
        role, reason = propose_role(one.name, low, high, example)
        rows.append((one.name, role, reason, int(one.cells), low, high, example, files.get(one.name, "")))
    return pd.DataFrame(rows, columns=list(COLUMNS))


_READ: Final = points_seen.join(passes).join(generations).join(exports)
_IS_CURRENT: Final = (passes.c.state == "done") & (generations.c.state == "current")


def _summed_up() -> sa.Select[Any]:
    """Return a row a name: what all its exports hold, the pass that first told a value and the last one."""
    is_told = points_seen.c.example != ""
    return (
        sa.select(
            points_seen.c.name,
            sa.func.sum(points_seen.c.cells).label("cells"),
            sa.func.min(points_seen.c.low).label("low"),
            sa.func.max(points_seen.c.high).label("high"),
            sa.func.min(sa.case((is_told, points_seen.c.pass_id))).label("first_told"),
            sa.func.max(points_seen.c.pass_id).label("last_seen"),
        )
        .select_from(_READ)
        .where(_IS_CURRENT)
        .group_by(points_seen.c.name)
        .order_by(points_seen.c.name)
    )


def _told_in(
    connection: sa.Connection, pass_of: Mapping[str, int | None], told: sa.ColumnElement[str]
) -> dict[str, str]:
    """Return what each name's pass told of it, by its last export that told anything."""
    found: dict[str, str] = {}
    for pass_id in sorted({one for one in pass_of.values() if one is not None}):
        query = sa.select(points_seen.c.name, told.label("told")).select_from(_READ)
        query = query.where(points_seen.c.pass_id == pass_id).order_by(points_seen.c.export_id)
        for row in connection.execute(query):
            if row.told and pass_of.get(row.name) == pass_id:
                found[row.name] = row.told
    return found


def propose_role(name: str, low: float, high: float, example: str) -> tuple[str, str]:
    """Return the likeliest role of a point and what speaks for it; blanks where nothing does."""
    words = re.sub(r"(?<=[a-z])(?=[A-Z])|[_./\\:-]+", " ", name).casefold()
    for hint in _HINTS:
        found = re.search(hint.words, words) or re.search(hint.words, name.casefold())
        if found is None:
            continue
        is_word = example.casefold() in (*ON_WORDS, *OFF_WORDS)
        if hint.role is Role.RUN_STATUS and is_word:
            return str(hint.role), f"“{found[0].strip()}” in its name, and its values are words"
        if low >= hint.low and high <= hint.high:
            return str(hint.role), f"“{found[0].strip()}” in its name, and values from {low:g} to {high:g}"
    return "", ""
