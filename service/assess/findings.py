"""When was a drive lost or a commanded fan stopped: the changes that raw readings show, kept as rows."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analytics.arrays import Bools
from analytics.drive_lost import HourlyFindings, hourly_findings, proof_seen
from service.assess.lanes import Learned
from service.store.ledger_tables import findings

Row = dict[str, Any]

LOST: Final = "drive_lost"
STOPPED: Final = "stopped"
UNFOLLOWED: Final = "unfollowed"


def stored_findings(connection: sa.Connection, fans: Sequence[str]) -> dict[str, list[Row]]:
    """Return the rows of some fans, each fan's in order of time."""
    query = sa.select(findings).where(findings.c.fan.in_(fans)).order_by(findings.c.hour, findings.c.topic)
    held: dict[str, list[Row]] = {fan: [] for fan in fans}
    for row in connection.execute(query):
        held[row.fan].append(dict(row._mapping))
    return held


def renewed_findings(
    fan: str,
    learned: Sequence[Learned],
    hours: pd.DataFrame | None,
    held: Sequence[Row],
    begin: dt.date,
    is_proof_seen_before: bool,
) -> list[Row]:
    """Return a fan's rows with those from a day on found again.

    Parameters: `learned`, the fan's stretches; `hours`, its operating points from `begin` or earlier to
    the latest reading, None where there are none; `held`, the rows as stored; `begin`;
    `is_proof_seen_before`, whether the run proof was ever on in an hour before `begin` in which it ran.
    """
    kept = [row for row in held if row["date"] < begin]
    if hours is None:
        return kept
    new = hours[hours["day"] >= begin.toordinal()].reset_index(drop=True)
    if new.empty:
        return kept
    before = {row["topic"]: bool(row["is_present"]) for row in kept}
    found = changes(fan, new, fan_findings(learned, new, is_proof_seen_before), before)
    return sorted([*kept, *found], key=lambda row: (row["hour"], row["topic"]))


def lost_spans(rows: Sequence[Row]) -> tuple[tuple[dt.datetime, dt.datetime | None], ...]:
    """Return from which hour to which hour the drive was lost, None while it lasts."""
    spans: list[tuple[dt.datetime, dt.datetime | None]] = []
    for row in rows:
        if row["topic"] != LOST:
            continue
        if row["is_present"]:
            spans.append((row["hour"], None))
        elif spans:
            spans[-1] = (spans[-1][0], row["hour"])
    return tuple(spans)


def fan_findings(
    learned: Sequence[Learned], hours: pd.DataFrame, is_proof_seen_before: bool
) -> HourlyFindings:
    """Return what each hour of a fan shows, judged by the curves that hold at the time.

    The healthy period teaches what a lost drive looks like, so nothing is decided before it is over.

    Parameters: `learned`, the fan's stretches; `hours` in order of time; `is_proof_seen_before`, whether
    the run proof was ever on in an hour before them in which the fan ran.
    """
    days = hours["day"].to_numpy(dtype=np.int64)
    is_proof_seen = proof_seen(hours, is_proof_seen_before)
    bounds = [part.stretch.begins for part in learned[1:] if part.stretch.begins is not None]
    parts = np.searchsorted([date.toordinal() for date in bounds], days, side="right")
    whole = {name: np.zeros(len(hours), dtype=bool) for name in HourlyFindings.__slots__}
    for number, part in enumerate(learned):
        mine = parts == number
        if not mine.any():
            continue
        last = part.stretch.last
        if last is None:
            continue
        of_part = hours[mine].reset_index(drop=True)
        found = hourly_findings(of_part, part.curves, part.machine, is_proof_seen[mine])
        is_decided = days[mine] > last.toordinal()
        for name in HourlyFindings.__slots__:
            whole[name][mine] = getattr(found, name) & is_decided
        if part.is_command_left_on:
            whole["is_stopped"][mine] = False
    return HourlyFindings(**whole)


def _held(begins: Bools, ends: Bools, before: bool) -> Bools:
    # The last hour that says anything holds until another does.
    said = np.maximum.accumulate(np.where(begins | ends, np.arange(len(begins)), -1))
    return np.where(said >= 0, begins[said], before)


def changes(fan: str, hours: pd.DataFrame, found: HourlyFindings, before: dict[str, bool]) -> list[Row]:
    """Return the rows at which a finding began or ended.

    An hour in which the fan neither turns nor is told to says nothing: a lost belt stays lost overnight.

    Parameters: `hours` and `found` in order of time; `before`, which findings held before them.
    """
    is_lost_held = _held(found.is_lost, found.is_whole, before.get(LOST, False))
    is_steady = hours["is_steady"].to_numpy(dtype=bool)
    is_speed_known = hours["motor_speed_rpm"].notna().to_numpy(dtype=bool)
    topics = {
        LOST: (found.is_lost, found.is_whole),
        # A motor that turns nothing may draw next to nothing: while a drive is lost, that is what is told.
        STOPPED: (found.is_stopped & ~is_lost_held, found.is_turning),
        UNFOLLOWED: (
            found.is_unfollowed,
            found.is_turning & is_steady & is_speed_known & ~found.is_unfollowed,
        ),
    }
    rows = []
    times, decided = hours["time"], hours["last_reading"]
    for topic, (is_present, is_absent) in topics.items():
        places = np.flatnonzero(is_present | is_absent)
        shown = is_present[places]
        is_other = shown != np.append(before.get(topic, False), shown[:-1])[: len(shown)]
        for i in places[is_other]:
            rows.append(
                {
                    "fan": fan,
                    "topic": topic,
                    "hour": times.iloc[i].to_pydatetime(),
                    "is_present": bool(is_present[i]),
                    "date": dt.date.fromordinal(int(hours["day"].iloc[i])),
                    "decided_at": decided.iloc[i].to_pydatetime(),
                }
            )
    return rows
