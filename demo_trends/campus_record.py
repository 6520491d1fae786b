"""What is written down about a fan of the demo campus, Kestrel Lake College.

The place, its people and its numbers are invented. One record a fan: what the schedule says, how it runs,
what is trended, what is planted. Days count from the campus's first day.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from demo_trends.faults import Fault
from demo_trends.plan import Control, Duct

ALL = ("speed", "current", "airflow", "pressure")
WARM = (*ALL, "air_temperature")


@dataclass(frozen=True, slots=True)
class CampusFan:
    """One fan of the campus; `facts` go to fans.csv as they stand, `tag` begins its point names."""

    name: str
    tag: str
    building: str
    fan_type: str
    drive: str
    hp: float
    cfm: float
    inwg: float
    fan_rpm: float
    duty: str
    use: str
    control: Control
    duct: Duct
    facts: Mapping[str, str]
    roles: tuple[str, ...] = ALL
    location: str = "across_fan"
    moves: str = "conditioned"
    poles: int = 4
    flux_law: str = "quadratic"
    belt_law: str = "hinge"
    run_proof: str = "current_switch"
    quality: str = "usual"
    airflow_kind: str = "dp"
    wheel_family: str = "spline"
    is_no_load_measured: bool = False
    faults: tuple[Fault, ...] = ()
    fitted_days: tuple[float, ...] = ()
    stopped_spans: tuple[tuple[float, float], ...] = ()
    cause: str = "none"
    note: str = "healthy"
    interval_minutes: int = 15


def where(location: str, access: str, serves: str, order: int, criticality: str = "normal") -> dict[str, str]:
    """Where a fan is, how to get to it, what it serves, and how much hangs on it."""
    return {
        "location": location,
        "access": access,
        "serves": serves,
        "round_order": str(order),
        "criticality": criticality,
    }


def belt(
    section: str, length: str, count: int, centre_in: float, *, adjustable: bool = False
) -> dict[str, str]:
    """What belts it takes."""
    return {
        "belt_section": section,
        "belt_length": length,
        "belt_count": str(count),
        "belt_tensioner": "motor slide base",
        "centre_distance_in": f"{centre_in:g}",
        "sheave_adjustable": "yes" if adjustable else "no",
    }


def bearing(bore_mm: int, kind: str = "ball", lubrication: str = "grease") -> dict[str, str]:
    """What bearings it has."""
    return {"bearing_bore_mm": str(bore_mm), "bearing_type": kind, "bearing_lubrication": lubrication}


VAV = Control("pressure", min_flow=0.32, max_flow=0.92, set_share=0.36)
SUPPLY_DUCT = Duct(near_share=0.36, path_share=0.2, wander=0.015)
EXHAUST_DUCT = Duct(near_share=0.12, path_share=0.2, held_share=0.3, wander=0.015)
