"""Trends of a fleet drawn at will: plain fans on a daily schedule, as many and for as long as asked."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.bench.bench import Size

INTERVAL_MINUTES: Final = 5
FIRST_DAY: Final = "2025-01-06"
ZONE: Final = "America/Phoenix"  # whose clocks never change
ROLES: Final = ("speed", "current", "airflow", "pressure")
_PLATE: Final = {
    "fan": "",
    "drive": "v_belt",
    "motor_kw": "15",
    "motor_fla": "27",
    "motor_rpm": "1765",
    "design_airflow_cfm": "12000",
    "pressure_location": "across_fan",
}
_DECIMALS: Final = {"speed": 1, "current": 1, "airflow": 0, "pressure": 2}
_SITE: Final = """name = "Bench"
timezone = "{zone}"
altitude_m = 1600
[[sources]]
name = "nightly"
url = "drop"
{source}
[baseline]
from = "{first}"
to = "{last}"
"""


@dataclass(frozen=True, slots=True)
class FanTrend:
    """What one fan's points say, by role, at the fleet's times."""

    fan: str
    values: dict[str, NDArray[np.float64]]


def point_name(fan: str, role: str) -> str:
    """Return the name of a fan's point."""
    return f"{fan} {role}"


def fan_names(size: Size) -> list[str]:
    """Return the fans of a fleet."""
    return [f"SF-{number:04d}" for number in range(size.fans)]


def times(size: Size) -> pd.DatetimeIndex:
    """Return the times of all trends on the wall clock."""
    steps = size.days * 24 * 60 // INTERVAL_MINUTES
    return pd.date_range(FIRST_DAY, periods=steps, freq=f"{INTERVAL_MINUTES}min", unit="s")


def fan_trends(size: Size) -> Iterator[FanTrend]:
    """Yield the fleet fan by fan; each fan has its own seed, so that a larger fleet holds the smaller one."""
    stamps = times(size)
    hour = np.asarray(stamps.hour + stamps.minute / 60.0)
    is_workday = np.asarray(stamps.day_of_week < 5)
    for number, fan in enumerate(fan_names(size)):
        draw = np.random.default_rng(number)
        start = draw.uniform(5.0, 7.0)
        is_running = is_workday & (hour >= start) & (hour < start + 13.0)
        yield FanTrend(fan, _drawn(draw, hour, is_running))


def _drawn(
    draw: np.random.Generator, hour: NDArray[np.float64], is_running: NDArray[np.bool_]
) -> dict[str, NDArray[np.float64]]:
    """Draw a fan by the affinity laws: a demand that wanders, a system whose dampers do."""
    count = len(hour)
    wander = 0.08 * _slow(draw, count) + 0.12 * np.sin((hour - 9.0) * np.pi / 12.0)
    speed = np.clip(0.7 + wander, 0.3, 1.0)
    flow = 0.75 + 0.08 * _slow(draw, count)  # airflow over speed
    pressure = 4.0 * speed**2 * (1.3 - 0.6 * flow**2)
    torque = speed**2 * (0.35 + 0.55 * flow)
    current = 26.0 * np.hypot(0.35, torque)
    noise = {role: draw.normal(0.0, scale, count) for role, scale in _NOISE.items()}
    drawn = {
        "speed": 100.0 * speed,
        "current": current + noise["current"],
        "airflow": 12_000.0 * speed * flow * (1.0 + noise["airflow"]),
        "pressure": pressure + noise["pressure"],
    }
    values = {role: np.where(is_running, drawn[role], 0.0).astype(np.float64) for role in ROLES}
    return {role: values[role].round(_DECIMALS[role]) + 0.0 for role in ROLES}


_NOISE: Final = {"current": 0.15, "airflow": 0.01, "pressure": 0.01}


def _slow(draw: np.random.Generator, count: int) -> NDArray[np.float64]:
    """Return a wander of unit size that takes hours."""
    knots = draw.normal(size=count // 36 + 3)
    return np.interp(np.arange(count) / 36.0, np.arange(len(knots)), knots)


def write_site(folder: Path, size: Size, source: str = 'files = "*.csv"') -> Path:
    """Declare the fleet in a site folder with an empty drop; return the drop."""
    drop = folder / "drop"
    drop.mkdir(parents=True)
    stamps = times(size)
    last = min(stamps[-1], stamps[0] + pd.Timedelta(days=27))
    (folder / "site.toml").write_text(
        _SITE.format(source=source, zone=ZONE, first=FIRST_DAY, last=last.date().isoformat())
    )
    write_fans(folder, size)
    return drop


def write_fans(folder: Path, size: Size) -> None:
    """Declare a fleet's fans in its site folder."""
    columns = [f"{role}_point" for role in ROLES]
    lines = [",".join([*_PLATE, *columns])]
    for fan in fan_names(size):
        plate = (_PLATE | {"fan": fan}).values()
        lines.append(",".join([*plate, *(point_name(fan, role) for role in ROLES)]))
    # A copy of a site shares its files: the others keep theirs.
    (folder / "fans.csv").unlink(missing_ok=True)
    (folder / "fans.csv").write_text("\n".join(lines) + "\n")
