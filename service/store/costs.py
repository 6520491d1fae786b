"""What each fan's drive costs a year in its present state: one place for pages, mails, API and the round."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from analytics.arrays import Floats
from analytics.costs import DriveCost, DriveState, Span, drive_cost
from analytics.load_profile import LoadProfile
from analytics.model import MOST_LOAD_RATIO
from analytics.priors import SLIP_STEEPNESS
from analytics.slip_law import slip_above_creep
from analytics.vocabulary import Cause
from config.folder import SiteFolder
from service.store.cost_tables import REVISION, fan_loads

# An ordinary belt creeps so much at the reference torque: what a state costs is what lies above it.
_CREEP: Final = 0.010
_CREEP_SD: Final = 0.0045
_SAID: Final = 1.96
_BATCH: Final = 500


@dataclass(frozen=True, slots=True)
class Figure:
    """A number and its central 95 %."""

    centre: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FanCost:
    """What a fan's drive costs a year of its usual hours, in its present state.

    `energy_kwh`, `money` (the site's currency) and `co2_kg` of slip above an ordinary belt's creep and of the
    rise of drag, where control holds the air; `slip_kwh` and `drag_kwh` its parts. In `limited_hours` no
    command can rise: `air_lost_pct` of the air is lost there (`air_lost_m3s`, 0 where airflow is not
    measured), and the meter falls by `meter_falls_kwh`, which is no saving. `healthy_kwh` and `healthy_money`
    are what a healthy drive of the kind loses anyway, and no part of the rest. `line_kwh` is what the motor
    would draw with a healthy drive, good to the usual efficiencies of motors and drives; `mean_price` of its
    kWh. `cogged_kwh`, `synchronous_kwh`, `direct_kwh` are what another drive in good order would save.
    """

    energy_kwh: Figure
    slip_kwh: Figure
    drag_kwh: Figure
    money: Figure
    co2_kg: Figure
    air_lost_pct: Figure
    air_lost_m3s: float
    limited_hours: float
    meter_falls_kwh: float
    healthy_kwh: Figure
    healthy_money: float
    running_hours: float
    shaft_kwh: float
    line_kwh: float
    mean_price: float
    cogged_kwh: Figure
    synchronous_kwh: Figure
    direct_kwh: Figure


def fan_costs(
    connection: sa.Connection, site: SiteFolder, rows: Mapping[str, Mapping[str, Any]]
) -> dict[str, FanCost]:
    """Return the yearly costs of fans by their rows of the ledger.

    Parameters: `rows` by fan, each with `cause` and the reference values of slip and drag. Returns: costs by
    fan; fans without a load reading, without a judged day or with a lost drive have none.
    """
    told = {fan: row for fan, row in rows.items() if _is_costed(row)}
    profiles = _profiles(connection, list(told))
    fans = list(profiles)
    if not fans:
        return {}
    profile = LoadProfile.stacked([profiles[fan] for fan in fans])
    state = _states([told[fan] for fan in fans], profile.load_ratio)
    cost = drive_cost(profile, state, site.site.tariff.demand_per_kw_month)
    return {fan: _fan_cost(cost, i, site.site.co2_kg_per_kwh) for i, fan in enumerate(fans)}


def _is_costed(row: Mapping[str, Any]) -> bool:
    is_known = row["slip_ref_pct"] is not None and row["drag_ref_pct"] is not None
    return is_known and row["cause"] != Cause.DRIVE_LOST.value


def _profiles(connection: sa.Connection, fans: list[str]) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for start in range(0, len(fans), _BATCH):
        query = sa.select(fan_loads.c.fan, fan_loads.c.profile).where(
            fan_loads.c.fan.in_(fans[start : start + _BATCH])
        )
        rows = connection.execute(query)
        found |= {row.fan: row.profile for row in rows if (row.profile or {}).get("revision") == REVISION}
    return found


def _states(rows: list[Mapping[str, Any]], load_ratio: Floats) -> DriveState:
    def of(name: str) -> Floats:
        names = (f"{name}_pct", f"{name}_low_pct", f"{name}_high_pct")
        return np.array([[row[one] for row in rows] for one in names], dtype=np.float64) / 100.0

    level, drag = of("slip_ref"), of("drag_ref")
    # The level's width is mostly the creep's, which no drift has; what is left is the slip's own.
    centre = np.maximum(level[0] - _CREEP, 0.0)
    creep = _SAID * _CREEP_SD
    below, above = (
        np.sqrt(np.maximum(np.square(away) - creep**2, np.square(0.2 * centre)))
        for away in (level[0] - level[1], level[2] - level[0])
    )
    is_fixed = level[2] == 0.0
    centre, below, above = (np.where(is_fixed, 0.0, part) for part in (centre, below, above))
    slip = np.stack([centre, np.maximum(centre - below, 0.0), centre + above])
    at_loads, _ = slip_above_creep(
        np.clip(load_ratio, 0.02, MOST_LOAD_RATIO), slip[..., None], np.array(SLIP_STEEPNESS[0])
    )
    return DriveState(at_loads, np.maximum(np.nan_to_num(drag), 0.0))


def _fan_cost(cost: DriveCost, fan: int, co2_kg_per_kwh: float) -> FanCost:
    def figure(span: Span, scale: float = 1.0) -> Figure:
        return Figure(*(scale * float(part[fan]) for part in (span.centre, span.low, span.high)))

    return FanCost(
        figure(cost.energy_kwh),
        figure(cost.slip_kwh),
        figure(cost.drag_kwh),
        figure(cost.money),
        figure(cost.energy_kwh, co2_kg_per_kwh),
        figure(cost.air_lost_pct),
        float(cost.air_lost_m3s[fan]),
        float(cost.limited_hours[fan]),
        float(cost.meter_falls_kwh[fan]),
        figure(cost.healthy_kwh),
        float(cost.healthy_money[fan]),
        float(cost.running_hours[fan]),
        float(cost.shaft_kwh[fan]),
        float(cost.line_kwh[fan]),
        float(cost.mean_price[fan]),
        figure(cost.cogged_kwh),
        figure(cost.synchronous_kwh),
        figure(cost.direct_kwh),
    )
