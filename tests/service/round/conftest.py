"""A site of four fans whose ledger rows are planted, as the round finds it."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from analytics.load_profile import BINS, LoadProfile
from config import load_site
from config.folder import SiteFolder
from service.store import Store, open_store
from service.store.cost_tables import REVISION, fan_loads
from service.store.ledger_tables import daily, fan_days
from tests.service.databases import copy_site, database_line
from tests.service.web.conftest import ledger_row

LAST = dt.date(2025, 6, 30)
HEAD = (
    ""
    "fan,building,location,access,serves,criticality,round_order,drive,motor_sheave_in,fan_sheave_in,belt_section,"
    ""
    "belt_length,belt_count,centre_distance_in,bearing_bore_mm,bearing_type,bearing_lubrication,motor_hp,motor_rpm,"
    "design_fan_rpm,speed_control,speed_point,current_point\n"
)
FANS = (
    "B-2 late,Birch,Loft,Ladder,Hall,normal,9,v_belt,,,,,,,,,,10,1760,900,vfd,S1,A1\n"
    "B-1 first,Birch,Loft,Ladder,Hall,normal,1,direct,,,,,,,,,sealed,10,1760,1160,constant,S2,A2\n"
    "A-1 whole,Ash,Roof,Hatch,Fume "
    "hoods,life_safety,2,v_belt,4,12,B,B81,2,24,50,ball,grease,10,1780,590,vfd,S3,A3\n"
    "A-2 "
    "slack,Ash,Roof,Hatch,Hall,normal,7,synchronous_belt,4,12,8M,1200,1,24,,,,10,1760,590,constant,S4,A4\n"
)
SLACK = {"B-2 late": 6.0}


def profile(kw: float = 5.0, hours: float = 4000.0) -> dict[str, Any]:
    """A year at one load, all of it under control."""
    at_one = [hours if place == 5 else 0.0 for place in range(BINS)]
    flat = {
        "motor_kw": kw,
        "load_ratio": 1.0,
        "drawn_kw": 1.1 * kw,
        "line_kw": 1.1,
        "price": 0.12,
        "airflow_m3s": 3.0,
        "loss": 0.05,
        "loss_low": 0.03,
        "loss_high": 0.08,
        "loss_cogged": 0.03,
        "loss_synchronous": 0.02,
    }
    told = {name: [value] * BINS for name, value in flat.items()}
    written = {"revision": REVISION, "hours": at_one, "season_error": 0.0, **told}
    assert set(written) - {"revision"} == set(LoadProfile.__dataclass_fields__)
    return written


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("round") / "campus"
    place.mkdir()
    text = 'name = "Campus"\ntimezone = "America/Denver"\nco2_kg_per_kwh = 0.5\n'
    (place / "site.toml").write_text(database_line(place) + text, encoding="utf-8")
    (place / "fans.csv").write_text(HEAD + FANS, encoding="utf-8")
    site = load_site(place)
    days = [LAST - dt.timedelta(days=back) for back in reversed(range(30))]
    rows = [ledger_row(fan, day, SLACK.get(fan, 1.0)) for fan in site.fan_names for day in days]
    ran = [
        {
            "fan": row["fan"],
            "date": row["date"],
            "digest": "0" * 64,
            "hours_running": 12.0,
            "hours_steady": 10,
            "interval_s": 900.0,
            "last_reading": row["last_reading"],
        }
        for row in rows
    ]
    loads = [{"fan": fan, "digest": "0" * 64, "profile": profile()} for fan in site.fan_names]
    with open_store(site) as store, store.writer() as connection:
        for table, planted in ((daily, rows), (fan_days, ran), (fan_loads, loads)):
            connection.execute(sa.insert(table), planted)
    return place


@pytest.fixture
def folder(prepared: Path, tmp_path: Path) -> Path:
    """A site's folder with a month of ledger; B-2 slips by 6 %, all else by 1 %."""
    copy_site(prepared, tmp_path / "campus")
    return tmp_path / "campus"


@pytest.fixture
def site(folder: Path) -> SiteFolder:
    return load_site(folder)


@pytest.fixture
def store(site: SiteFolder) -> Iterator[Store]:
    with open_store(site) as opened:
        yield opened
