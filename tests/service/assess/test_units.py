"""Promise 6: the same values written in IP and in SI give ledgers equal to 1e-9 relative."""

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd

from demo_trends.readings import COLUMNS
from service.store.ledger_tables import NUMBERS
from tests.service.assess.conftest import DAYS, FIRST, HEALTHY, LOST, SLIPPING, ZONE, Plant, schedule
from tests.service.databases import database_line

# Exact by definition: the inch (25.4 mm), the foot, the mechanical horsepower (550 ft lbf/s with the pound of
# 0.45359237 kg and 9.80665 m/s2); inches of water at the conventional density 1000 kg/m3 (NIST SP 811,
# appendix B.9: 249.08891 Pa). Written out here, apart from the product's own table.
FOOT = 0.3048
M3S_PER_CFM = FOOT**3 / 60.0
PA_PER_INWG = 249.08891
W_PER_HP = 550.0 * FOOT * 0.45359237 * 9.80665
UNITS_IP = """
[units]
speed = "Hz"
current = "percent"
airflow = "cfm"
pressure = "inwg"
air_temperature = "degF"
"""
FROM_SI: dict[str, Callable[[pd.Series, dict[str, str]], pd.Series]] = {
    "speed": lambda values, row: values * float(row["max_hz"]),  # a fraction is of max_hz
    "current": lambda values, row: values / float(row["motor_fla"]) * 100.0,
    "airflow": lambda values, row: values / M3S_PER_CFM,
    "pressure": lambda values, row: values / PA_PER_INWG,
    "air_temperature": lambda values, row: values * 1.8 + 32.0,
}


def rows_of(text: str) -> list[dict[str, str]]:
    lines = [line.split(",") for line in text.splitlines()]
    return [dict(zip(lines[0], cells, strict=True)) for cells in lines[1:]]


def in_ip(row: dict[str, str]) -> dict[str, str]:
    """Write a row of the schedule in IP, to the last bit that text holds."""
    told = dict(row)
    told["motor_hp"] = repr(1000.0 * float(told.pop("motor_kw")) / W_PER_HP)
    told["design_airflow_cfm"] = repr(float(told.pop("design_airflow_m3s")) / M3S_PER_CFM)
    told["design_pressure_inwg"] = repr(float(told.pop("design_pressure_pa")) / PA_PER_INWG)
    for name in ("motor_sheave", "fan_sheave"):
        metric = told.pop(f"{name}_mm", "")
        told[f"{name}_in"] = repr(float(metric) / 25.4) if metric else ""
    return told


def test_ip_and_si_give_one_ledger(whole: Plant, new_plant: Callable[..., Plant]) -> None:
    plant = new_plant()
    rows = {row["fan"]: in_ip(row) for row in rows_of(schedule(plant.runs))}
    names = list(dict.fromkeys(name for row in rows.values() for name in row))
    lines = [",".join(names), *(",".join(row.get(name, "") for name in names) for row in rows.values())]
    (plant.folder / "fans.csv").write_text("\n".join(lines) + "\n")
    (plant.folder / "site.toml").write_text(
        f'{database_line(plant.folder)}name = "Test site"\ntimezone = "{ZONE}"\n'
        f"altitude_ft = {1600 / FOOT!r}\n"
        f'[[sources]]\nname = "nightly"\nurl = "drop"\n{UNITS_IP}\n'
        f'[baseline]\nfrom = "{HEALTHY[0]}"\nto = "{HEALTHY[1]}"\n'
    )
    parts = []
    for run in plant.runs:
        row = rows[run.plan.name]
        parts.append(
            pd.DataFrame(
                {
                    f"{run.plan.name} {role}": FROM_SI[role](run.readings[COLUMNS[role]], row)
                    for role in run.plan.sensors
                }
            )
        )
    wide = pd.concat(parts, axis=1)
    wide.insert(0, "Timestamp", [f"{time:%Y-%m-%dT%H:%M:%SZ}" for time in wide.index])
    wide.to_csv(plant.folder / "drop" / "all.csv", index=False)
    plant.pull()
    plant.assess()
    ours, theirs = plant.daily(), whole.daily()
    same = ["fan", "date", "hours", "hours_used", "cause", "note"]
    assert ours[same].equals(theirs[same])
    for name in (*NUMBERS, "cause_share"):
        # Of a number near zero the percent of torque or slip it is a part of is the measure.
        np.testing.assert_allclose(
            ours[name].to_numpy(float), theirs[name].to_numpy(float), rtol=1e-9, atol=1e-9, err_msg=name
        )
    assert ours["slip_pct"].notna().sum() > 100
    told = ["fan", "kind", "level", "opened_on", "opened_at", "closed_on"]
    assert plant.alerts()[told].equals(whole.alerts()[told])
    assert {LOST, SLIPPING} == set(plant.alerts()["fan"])
    assert FIRST + dt.timedelta(days=DAYS) > dt.date(2025, 3, 20)
