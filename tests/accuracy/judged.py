"""Drawn fans put through the three steps of the work, day by day in one batch, beside their truth."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analytics.curves import HealthyCurves, TooLittleHealthyDataError
from analytics.day_hours import LEAST_HOURS_JUDGED, day_operating
from analytics.day_reading import read_day
from analytics.judging import DayJudged, FanDay, fan_day, first_state, fleet, healthy, judged_day
from analytics.ledger import verdict
from analytics.model import INDEX, Parameter
from analytics.scaled_hours import ScaledHours, scaled_hours
from analytics.slip_law import slip_above_creep
from analytics.state import stack_states
from analytics.watch import CARRIED, watch
from tests.accuracy.drawing import HEALTHY_DAYS, DrawnFan
from tests.accuracy.showing import shown

_BOTH = [CARRIED.index(Parameter.SLIP), CARRIED.index(Parameter.DRAG)]
TRUTHS = (
    "slip_pct",
    "slip_change_pct",
    "slip_ref_pct",
    "slip_ref_change_pct",
    "drag_ref_pct",
    "drive_loss_change_pct",
)


def judge(fans: Sequence[DrawnFan]) -> pd.DataFrame:
    """Judge drawn fans of equally many days; one row a fan and judged day after the healthy period.

    Columns: those of the ledger, its innovations, `true_<column>` beside them, `verdict`, `share`, `rest`,
    `hours_used`, `limit_pct`, `day` and the fan's facts; `moved` and `station` of `Shown` on the
    fan's last judged day. A fan whose healthy period is refused has one row with `refused` set.
    """
    learned, kept = [], []
    refused: list[dict[str, object]] = []
    for fan in fans:
        is_healthy = fan.day < HEALTHY_DAYS
        try:
            curves = healthy(fan.hours[is_healthy].reset_index(drop=True), fan.day[is_healthy], fan.machine)
        except TooLittleHealthyDataError as error:
            refused.append({**fan.facts, "refused": str(error), "day": -1})
            continue
        learned.append(curves)
        kept.append(fan)
    if not kept:
        return pd.DataFrame(refused)
    batch = fleet(learned, [fan.machine for fan in kept])
    state = stack_states([first_state(c, fan.machine) for c, fan in zip(learned, kept, strict=True)])
    scaled = [
        scaled_hours(fan.hours, fan.machine, curves.channels)
        for fan, curves in zip(kept, learned, strict=True)
    ]
    limits = [_limit_pct(c, fan, hours) for c, fan, hours in zip(learned, kept, scaled, strict=True)]
    records: list[dict[str, object]] = [*refused]
    for number in range(kept[0].days):
        days = [
            fan_day(_of_day(hours, fan.day == number), curves, (), 1.0)
            for fan, hours, curves in zip(kept, scaled, learned, strict=True)
        ]
        told = judged_day(batch, state, days)
        state = told.state
        if number >= HEALTHY_DAYS:
            records += _records(kept, days, number, told, limits)
    rows = pd.DataFrame(records)
    if "hours_used" not in rows:
        return rows
    last = rows[rows["refused"] == ""].groupby("fan")["day"].max()
    found = {
        name: shown(fan, own, _of_day(hours, fan.day == int(last[name])), int(last[name]))
        for fan, own, hours in zip(kept, learned, scaled, strict=True)
        if (name := str(fan.facts["fan"])) in last
    }
    moved = rows["fan"].map({name: one.moved for name, one in found.items()})
    return rows.assign(
        moved=moved, station=rows["fan"].map({name: one.station for name, one in found.items()})
    )


def _limit_pct(curves: HealthyCurves, fan: DrawnFan, hours: ScaledHours) -> float:
    """What one day can tell of this fan's slip at best: its deviation with slip and drag free, no prior.

    In points of the slip of those hours; the middle of a week after the healthy period. The carried state may
    do better, a free third cause worse.
    """
    constants = watch(curves, fan.machine)
    at = curves.mean[None, [INDEX[name] for name in CARRIED]].copy()
    # The slip law is flat at no slip: its information is taken at a small one.
    at[0, _BOTH[0]] = 0.01
    found = []
    for number in range(HEALTHY_DAYS, HEALTHY_DAYS + 7):
        operating = day_operating(_of_day(hours, fan.day == number), curves)
        if operating.is_used.sum() < LEAST_HOURS_JUDGED:
            continue
        reading = read_day(at, constants, operating)
        told = reading.information[0][np.ix_(_BOTH, _BOTH)] + 1e-9 * np.eye(len(_BOTH))
        ratio = reading.load_ratio[0][operating.is_used[0]]
        steepness = at[0, CARRIED.index(Parameter.SLIP_STEEPNESS)]
        above, _ = slip_above_creep(ratio, at[0, _BOTH[0]], steepness)
        factor = float(np.mean(above / at[0, _BOTH[0]]))
        found.append(100.0 * factor * float(np.sqrt(np.linalg.inv(told)[0, 0])))
    return float(np.median(found)) if found else float("nan")


def _of_day(hours: ScaledHours, is_day: np.ndarray) -> ScaledHours:
    return ScaledHours(*(getattr(hours, name)[is_day] for name in ScaledHours.__slots__))


def _records(
    fans: Sequence[DrawnFan],
    days: Sequence[FanDay],
    number: int,
    told: DayJudged,
    limits: Sequence[float],
) -> list[dict[str, object]]:
    records: list[dict[str, object]] = []
    columns, shares = told.rows.columns(), told.rows.shares
    for i, (fan, packed) in enumerate(zip(fans, days, strict=True)):
        if packed.hours_used < LEAST_HOURS_JUDGED or number not in fan.truth.index:
            continue
        cause, share, rest = verdict(shares[i])
        true = fan.truth.loc[number].astype(float)
        records.append(
            {
                **fan.facts,
                "refused": "",
                "day": number,
                "hours_used": packed.hours_used,
                "limit_pct": limits[i],
                "verdict": cause.value,
                "share": share,
                "rest": " ".join(part.value for part in rest),
                **{name: float(values[i]) for name, values in columns.items()},
                "slip_innovation": float(told.innovation[i, 0]),
                "drag_innovation": float(told.innovation[i, 1]),
                "slip_alone_pct": float(told.alone[i, 0]),
                **{f"true_{name}": float(true.at[name]) for name in TRUTHS},
            }
        )
    return records
