"""A small site in a temporary folder, its drop, and what its store says after a pull."""

import datetime as dt
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pandas as pd
import pytest

from config import load_site
from service.intake import PassReport, export_intake, export_readings, pull
from service.store import open_store
from tests.service.databases import database_line, query

NOW = dt.datetime(2025, 7, 1, 6, 0, tzinfo=dt.UTC)
SITE = """
name = "Test site"
timezone = "{zone}"
{extra}
[[sources]]
name = "nightly"
url = "drop"
{source}
[units]
airflow = "L/s"
pressure = "Pa"
air_temperature = "degC"
"""
FANS = """fan,drive,motor_kw,motor_fla,motor_rpm,speed_point,current_point,airflow_point,pressure_point
SF-1,v_belt,11,20.7,1465,SF1 speed,SF1 amps,SF1 flow,SF1 dp
EF-1,direct,5.5,10.9,1455,EF1 speed,EF1 amps,,
"""


class Plant:
    """A site's folder and what was done with it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "drop").mkdir(parents=True)
        self.declare()

    def declare(
        self, zone: str = "UTC", fans: str = FANS, source: str = "", extra: str = "", units: str = ""
    ) -> None:
        text = SITE.format(zone=zone, source=source, extra=extra)
        (self.folder / "site.toml").write_text(database_line(self.folder) + text + units)
        (self.folder / "fans.csv").write_text(fans)

    def drop(self, name: str, content: str | bytes, modified: float | None = None) -> Path:
        path = self.folder / "drop" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        if modified is not None:
            os.utime(path, (modified, modified))
        return path

    def pull(self, *, again: bool = False, reached: Callable[[str], None] | None = None) -> PassReport:
        site = load_site(self.folder)
        with open_store(site, *([reached] if reached else [])) as store:
            return pull(site, store, again=again, clock=lambda: NOW)

    def readings(self, fan: str | None = None) -> pd.DataFrame:
        site = load_site(self.folder)
        with open_store(site) as store:
            return export_readings(site, store, fan)

    def intake(self) -> pd.DataFrame:
        with open_store(load_site(self.folder)) as store:
            return export_intake(store)

    def ledger(self, text: str) -> Sequence[Sequence[object]]:
        return query(self.folder, text)

    def refusals(self) -> Sequence[Sequence[object]]:
        return self.ledger('select "row", "column", value, reason, cells from refusals order by id')

    def cells(self, fan: str, column: str) -> dict[str, float]:
        """Return a column's values by their time."""
        rows = self.readings(fan)[["time_utc", column]].dropna()
        return dict(zip(rows["time_utc"], rows[column], strict=True))


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return Plant(tmp_path / "site")


@pytest.fixture
def plants(tmp_path: Path) -> Callable[[], Plant]:
    """Make as many sites as a test asks for."""

    def numbers() -> Iterator[int]:
        number = 0
        while True:
            yield number
            number += 1

    each = numbers()
    return lambda: Plant(tmp_path / f"site {next(each)}")
