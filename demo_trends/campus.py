"""The demo campus made whole: its fans simulated, its exports, schedule, service log and planted truth."""

import json
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from demo_trends.campus_fans import (
    BUILDINGS,
    DAYS,
    FIRST_DATE,
    HEALTHY,
    HEALTHY_DAYS,
    SERVICE_LOG,
    SINGLE_LAYOUT,
    ZONE,
)
from demo_trends.campus_record import CampusFan
from demo_trends.draw import Choices, draw_belt, draw_sensors
from demo_trends.export import PointColumn, months, point_columns, single, table, wall_clock, wide
from demo_trends.motor import typical_motor
from demo_trends.plan import FanPlan, SitePlan
from demo_trends.schedule import COLUMNS as SCHEDULE_COLUMNS
from demo_trends.schedule import schedule_row
from demo_trends.simulator import Trends, simulate, site_weather, time_steps
from demo_trends.truth import daily
from demo_trends.units import M3S_PER_CFM, PA_PER_INWG, UNITS, W_PER_HP
from demo_trends.weather import Climate, Weather
from demo_trends.wheels import draw_wheel

SEED = 20250120
PLACE = SitePlan(
    ZONE,
    Climate(
        altitude_m=1740.0, mean_c=9.5, season_swing_c=12.0, day_swing_c=7.0, fronts_c=4.0, barometer_sd=0.005
    ),
)
OUTDOOR_POINT = "SITE.OAT"
OUTDOOR_BUILDING = "Alder Hall"
SUFFIXES = {
    "speed": "SPD",
    "current": "AMPS",
    "power": "KW",
    "airflow": "CFM",
    "pressure": "DP",
    "air_temperature": "TEMP",
    "run_status": "STS",
    "motor_speed": "MTR_RPM",
}
TRUTH_COLUMNS = (
    *("fan", "date", "cause", "slip_pct", "slip_ref_pct", "slip_change_pct", "drag_ref_pct"),
    *("drive_loss_change_pct", "note"),
)

SITE_TOML = f"""# The demo campus. An invented college: places, people and numbers are made up.
name = "Kestrel Lake College"
timezone = "{ZONE}"
altitude_m = 1740
outdoor_temperature_point = "{OUTDOOR_POINT}"
currency = "USD"
energy_price_per_kwh = 0.118
co2_kg_per_kwh = 0.52

[[sources]]
name = "nightly"
url = "drop"
files = "*.csv"

[units]
speed = "percent"
current = "A"
power = "kW"
airflow = "cfm"
pressure = "inwg"
air_temperature = "degF"

[baseline]
from = "{HEALTHY[0]}"
to = "{HEALTHY[1]}"

[mail]
from = "slipledger@kestrel-lake.example"
weekly = ["facilities@kestrel-lake.example"]
immediate = ["shop-foreman@kestrel-lake.example"]
weekly_at = "Mon 06:00"
"""


def points_of(fan: CampusFan) -> dict[str, str]:
    """The point names of a fan by role, as this campus names them."""
    joint = " " if " " in fan.tag else "."
    return {role: f"{fan.tag}{joint}{SUFFIXES[role]}" for role in fan.roles}


def plan_of(fan: CampusFan) -> FanPlan:
    """The plan of a campus fan; what its record leaves open is drawn from the fan's name."""
    rng = np.random.default_rng([SEED, zlib.crc32(fan.name.encode())])
    design_q, design_p = fan.cfm * M3S_PER_CFM, fan.inwg * PA_PER_INWG
    has_drive = fan.control.kind != "constant"
    motor = typical_motor(
        fan.hp * W_PER_HP,
        poles=fan.poles,
        flux_law=fan.flux_law,
        flux_exponent=0.8,
        has_drive=has_drive,
        magnetising=float(rng.uniform(0.95, 1.2)),
        resistance=float(rng.uniform(0.85, 1.15)),
    )
    wheel = draw_wheel(
        rng, fan.fan_type, design_q, design_p, fan.fan_rpm, family=fan.wheel_family, variation=0.8
    )
    ratio = 1.0 if fan.drive == "direct" else fan.fan_rpm / (motor.rated_rpm * (0.94 if has_drive else 1.0))
    design_torque = wheel.design_shaft_w / (fan.fan_rpm * np.pi / 30) * ratio / motor.rated_nm
    choices = Choices(roles=fan.roles, quality=fan.quality, airflow_kind=fan.airflow_kind)
    belt = draw_belt(rng, fan.drive, float(design_torque), fan.belt_law)
    sensors = draw_sensors(rng, choices, design_q, design_p, is_metric=False, has_speed=has_drive)
    return FanPlan(
        name=fan.name,
        wheel=wheel,
        motor=motor,
        belt=belt,
        ratio=float(ratio),
        duty=fan.duty,
        drive=fan.drive,
        use=fan.use,
        moves=fan.moves,
        duct=fan.duct,
        control=fan.control,
        sensors=sensors,
        pressure_location=fan.location,
        run_proof=fan.run_proof,
        nameplate_slip=float(rng.uniform(0.9, 1.1)),
        is_no_load_measured=fan.is_no_load_measured,
        faults=fan.faults,
        fitted_days=fan.fitted_days,
        stopped_spans=fan.stopped_spans,
        site=PLACE,
    )


def campus_weather() -> Weather:
    """The weather of the campus at its finest interval."""
    return site_weather(PLACE, time_steps(FIRST_DATE, DAYS, 15, ZONE), SEED)


def simulate_fan(fan: CampusFan, weather: Weather) -> Trends:
    """The run of one campus fan."""
    return simulate(plan_of(fan), FIRST_DATE, DAYS, 15, SEED, weather=weather, healthy_days=HEALTHY_DAYS)


def _outdoor_column(weather: Weather) -> PointColumn:
    """The weather station's temperature, to a tenth of a degree Fahrenheit."""
    values = UNITS["degF"].from_si(weather.outdoor_c)
    return PointColumn(OUTDOOR_POINT, [f"{value:.0f}" for value in values.tolist()])


def building_files(building: str, weather: Weather) -> Iterator[tuple[str, str]]:
    """The export files of one building: name and text."""
    clock = wall_clock(weather.time, ZONE)
    columns: list[PointColumn] = []
    for fan in BUILDINGS[building]:
        fresh = point_columns(simulate_fan(fan, weather), points_of(fan))
        if building == SINGLE_LAYOUT:
            every = fan.interval_minutes // 15
            for column in fresh:
                yield (
                    f"{column.name}.csv",
                    single(PointColumn(column.name, column.cells[::every]), clock[::every]),
                )
        columns += fresh
    if building == SINGLE_LAYOUT:
        return
    if building == OUTDOOR_BUILDING:
        columns.append(_outdoor_column(weather))
    for month, rows in months(weather.time, ZONE).items():
        yield f"{building.replace(' ', '-').lower()}_{month}.csv", wide(columns, clock, rows)


def schedule_text() -> str:
    """fans.csv."""
    rows = []
    for fans in BUILDINGS.values():
        for fan in fans:
            row = schedule_row(plan_of(fan), points_of(fan), is_metric=False)
            row = {column: text for column, text in row.items() if not column.endswith("_unit")}
            row["motor_hp"] = f"{fan.hp:g}"
            rows.append({**row, "building": fan.building, **fan.facts})
    return table(rows, SCHEDULE_COLUMNS)


def service_log_text() -> str:
    """service_log.csv."""
    return table(SERVICE_LOG, ("fan", "date", "time", "work", "role", "motor_rpm", "fan_rpm", "note"))


def truth_rows(fan: CampusFan, trends: Trends) -> Iterator[dict[str, str]]:
    """The planted truth of one fan, a row an operating day."""
    for date, day in daily(trends.truth, ZONE).iterrows():
        midnight = float((pd.Timestamp(str(date)) - pd.Timestamp(FIRST_DATE)).days)
        is_planted = any(fault.course(np.array([midnight, midnight + 1.0])).any() for fault in fan.faults)
        numbers = {name: _per_cent(day[name]) for name in TRUTH_COLUMNS if name.endswith("_pct")}
        cause = fan.cause if is_planted else "none"
        yield {"fan": fan.name, "date": str(date), "cause": cause, "note": "", **numbers}


def _per_cent(value: float) -> str:
    text = f"{value:.2f}"
    return "" if text == "nan" else "0.00" if text == "-0.00" else text


def truth_text(weather: Weather) -> str:
    """truth.csv; the note stands on the fan's first row."""
    rows = []
    for fans in BUILDINGS.values():
        for fan in fans:
            of_fan = list(truth_rows(fan, simulate_fan(fan, weather)))
            of_fan[0]["note"] = fan.note
            rows += of_fan
    return table(rows, TRUTH_COLUMNS)


def generate(folder: Path) -> None:
    """Write the campus anew: the site folder, its exports, and truth.csv beside them."""
    weather = campus_weather()
    drop = folder / "drop"
    drop.mkdir(parents=True, exist_ok=True)
    for old in drop.glob("*.csv"):
        old.unlink()
    for building in BUILDINGS:
        for name, text in building_files(building, weather):
            (drop / name).write_text(text, encoding="utf-8")
    (folder / "site.toml").write_text(SITE_TOML, encoding="utf-8")
    (folder / "fans.csv").write_text(schedule_text(), encoding="utf-8")
    (folder / "service_log.csv").write_text(service_log_text(), encoding="utf-8")
    (folder / "truth.csv").write_text(truth_text(weather), encoding="utf-8")
    made_with = {"seed": SEED, "numpy": np.__version__}
    (folder / "made_with.json").write_text(json.dumps(made_with) + "\n", encoding="utf-8")
