"""No fault of a site's files hides another or makes one up: each planted fault is named, and no more."""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config import check_site

WriteSite = Callable[..., Path]
Cell = tuple[str, str, str]  # file; table, or line; key, or column
Place = tuple[str, str | None]  # file and line; column

SITE: dict[Cell, str] = {
    ("site", "", "name"): '"Campus"',
    ("site", "", "timezone"): '"America/Denver"',
    ("site", "units", "speed"): '"percent"',
    ("site", "units", "current"): '"A"',
    ("site", "limits", "hold_days"): "3",
    ("site", "limits", "slip_watch_pct"): "3",
    ("site", "limits", "slip_act_pct"): "5",
    ("site", "limits", "drive_loss_rise_watch_pct"): "4",
    ("site", "limits", "drive_loss_rise_act_pct"): "8",
    ("site", "baseline", "from"): '"2025-01-01"',
    ("site", "baseline", "to"): '"2025-02-01"',
    ("site", "tariff", "demand_per_kw_month"): "10",
    ("site", "assess", "workers"): "0",
    ("site", "[hooks]", "name"): '"orders"',
    ("site", "[hooks]", "url"): '"https://host/path"',
    ("site", "[hooks]", "secret"): '"{env:HOOK}"',
    ("site", "[hooks]", "buildings"): '["Alder Hall"]',
}
COLUMNS = """
fan from building duty drive motor_hp motor_kw motor_fla motor_rpm motor_volts motor_no_load_a max_hz min_hz
speed_point current_point airflow_point pressure_point baseline_from baseline_to slip_watch_pct slip_act_pct
"""
ROW = {
    "building": "Alder Hall",
    "duty": "supply",
    "drive": "v_belt",
    "motor_hp": "20",
    "motor_fla": "25",
    "motor_rpm": "1760",
    "motor_volts": "460",
    "motor_no_load_a": "9",
}
FANS: dict[Cell, str] = {
    ("fans", line, column): text
    for line, fan in (("2", "A"), ("3", "B"), ("4", "C"))
    for column, text in {
        **ROW,
        "fan": fan,
        "speed_point": f"{fan} S",
        "current_point": f"{fan} I",
        "airflow_point": f"{fan} Q",
    }.items()
}
LOG_COLUMNS = "fan date work role fan_rpm speed"
LOG: dict[Cell, str] = {
    ("log", line, column): text
    for line, fan in (("2", "A"), ("3", "B"), ("4", "B"))
    for column, text in {"fan": fan, "date": "2025-03-01", "work": "inspected", "speed": "50"}.items()
}


@dataclass(frozen=True)
class Planted:
    """A fault: the cells it writes, where it is named, the other cells without which nobody can say it."""

    cells: dict[Cell, str]
    named: Place
    needs: frozenset[Cell] = field(default=frozenset())

    def is_independent_of(self, other: "Planted") -> bool:
        return not self._touched & set(other.cells) and not other._touched & set(self.cells)

    @property
    def _touched(self) -> set[Cell]:
        return set(self.cells) | self.needs


def site(table: str, key: str, text: str, *needs: str, named: str | None = None) -> Planted:
    place = named or ".".join(part for part in (table.strip("[]"), key) if part)
    return Planted({("site", table, key): text}, ("site", place), _all("site", table, needs))


def fan(line: str, cells: dict[str, str], named: str, *needs: str) -> Planted:
    written = {("fans", line, column): text for column, text in cells.items()}
    return Planted(written, (f"fans {line}", named), _all("fans", line, needs))


def log(line: str, column: str, text: str, *needs: str) -> Planted:
    return Planted({("log", line, column): text}, (f"log {line}", column), _all("log", line, needs))


def _all(file: str, part: str, names: tuple[str, ...]) -> frozenset[Cell]:
    return frozenset((file, part, name) for name in names)


FAULTS = (
    site("", "timezone", '"Mars"'),
    site("", "altitude_ft", '"high"'),
    site("", "altitud_m", "100"),
    site("units", "speed", '"percnt"'),
    site("units", "airflw", '"cfm"'),
    site("limits", "hold_days", "0"),
    site("limits", "slip_watch_pct", "6", "slip_act_pct", named="limits"),
    site("limits", "drive_loss_rise_act_pct", '"x"'),
    site("baseline", "from", '"2025-03-01"', "to", named="baseline"),
    site("tariff", "by_month", "[0.1, 0.2]", named="tariff"),
    site("tariff", "demand_per_kw_month", "-1"),
    site("assess", "executor", '"dask"', "scheduler", named="assess"),
    site("assess", "workers", "1.5"),
    site("[hooks]", "url", '"ftp://host"', named="hooks.1.url"),
    site("[hooks]", "secret", '"open"', named="hooks.1.secret"),
    site("[hooks]", "buildings", '["Elm"]', named="hooks.1.buildings"),
    fan("2", {"duty": "suply"}, "duty"),
    fan("2", {"motor_hp": ""}, "motor_hp", "motor_kw"),
    fan("2", {"motor_no_load_a": "30"}, "motor_no_load_a", "motor_fla"),
    fan("2", {"pressure_point": "A Q"}, "pressure_point", "airflow_point"),
    fan("2", {"max_hz": "60", "min_hz": "60"}, "min_hz"),
    fan("2", {"baseline_from": "2025-01-01"}, "baseline_to", "baseline_to"),
    fan("3", {"drive": "rope"}, "drive"),
    fan("3", {"motor_hp": "", "motor_kw": "ten"}, "motor_kw"),
    fan("3", {"motor_fla": "2500"}, "motor_fla", "motor_volts", "motor_hp", "motor_kw"),
    fan("3", {"current_point": "A I"}, "current_point", "fan"),
    fan("3", {"slip_watch_pct": "7", "slip_act_pct": "6.5"}, "slip_watch_pct"),
    fan("4", {"fan": "A"}, "fan"),
    fan("4", {"motor_rpm": "2300"}, "motor_rpm", "motor_volts"),
    fan("4", {"motor_kw": "15"}, "motor_kw", "motor_hp"),
    fan("4", {"from": "2025-13-01"}, "from", "fan"),
    fan("4", {"speed_point": "", "current_point": "", "airflow_point": ""}, "speed_point", "pressure_point"),
    log("2", "work", "retension"),
    log("2", "fan", "F9"),
    log("2", "fan_rpm", "-3"),
    log("3", "date", "2025-03-32"),
    log("3", "role", "airflo"),
    log("4", "fan", "F9"),
)


def planted(write_site: WriteSite, faults: tuple[Planted, ...]) -> Path:
    cells = {**SITE, **FANS, **LOG}
    for fault in faults:
        cells |= fault.cells
    tables: dict[str, list[str]] = {}
    for (file, table, key), text in cells.items():
        if file == "site":
            tables.setdefault(table, []).append(f"{key} = {text}")
    return write_site(
        site="\n".join(
            "\n".join([f"[{table}]", *lines] if table else lines) for table, lines in tables.items()
        ),
        fans=_sheet(cells, "fans", COLUMNS.split()),
        service=_sheet(cells, "log", LOG_COLUMNS.split()),
    )


def _sheet(cells: dict[Cell, str], file: str, columns: list[str]) -> str:
    rows = [[cells.get((file, line, column), "") for column in columns] for line in "234"]
    return "\n".join(",".join(row) for row in [columns, *rows]) + "\n"


def named(folder: Path) -> list[Place]:
    places = []
    for fault in check_site(folder).faults:
        file = {"site.toml": "site", "fans.csv": "fans", "service_log.csv": "log"}[fault.file]
        places.append((file if file == "site" else f"{file} {fault.row}", fault.column))
    return sorted(places, key=str)


def expected(faults: tuple[Planted, ...]) -> list[Place]:
    return sorted((fault.named for fault in faults), key=str)


def are_independent(faults: tuple[Planted, ...]) -> bool:
    return all(one.is_independent_of(other) for one, other in combinations(faults, 2))


def test_the_site_is_sound_before_anything_is_planted(write_site: WriteSite) -> None:
    assert named(planted(write_site, ())) == []


@pytest.mark.parametrize("place", range(len(FAULTS) - 1))
def test_of_any_two_faults_both_are_named_and_no_third(write_site: WriteSite, place: int) -> None:
    for other in FAULTS[place + 1 :]:
        pair = (FAULTS[place], other)
        if are_independent(pair):
            assert named(planted(write_site, pair)) == expected(pair)


def test_nearly_every_two_of_the_faults_can_be_planted_together() -> None:
    pairs = list(combinations(FAULTS, 2))
    assert sum(map(are_independent, pairs)) > 0.95 * len(pairs)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100)
@given(chosen=st.permutations(FAULTS), most=st.integers(3, len(FAULTS)))
def test_however_many_faults_there_are_each_is_named_once(
    write_site: WriteSite, chosen: list[Planted], most: int
) -> None:
    faults: tuple[Planted, ...] = ()
    for fault in chosen:
        if len(faults) < most and are_independent((*faults, fault)):
            faults = (*faults, fault)
    assert named(planted(write_site, faults)) == expected(faults)
