"""A site of three invented fans, its exports in any pieces, and what its store says after `assess`."""

import dataclasses
import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from config import load_site
from demo_trends.draw import Choices, draw_plan
from demo_trends.export import table
from demo_trends.faults import Fault
from demo_trends.readings import COLUMNS
from demo_trends.schedule import COLUMNS as SCHEDULE_COLUMNS
from demo_trends.schedule import schedule_row
from demo_trends.simulator import Trends, simulate
from service.alerts import export_alerts, keep_alerts
from service.assess import assess, export_daily
from service.instants import instant_of
from service.intake import pull
from service.store import open_store
from service.store.tables import METADATA
from tests.service.databases import copy_site, database_line, is_postgresql, query

PULLED_AT = dt.datetime(2025, 7, 1, 6, 0, tzinfo=dt.UTC)
ZONE = "America/New_York"
FIRST, DAYS = dt.date(2025, 1, 20), 62
HEALTHY = ("2025-01-20", "2025-02-20")
SLIPPING, SYNCHRONOUS, LOST = "SF-1", "EF-2", "RF-3"
SLIP_DAY, LOST_DAY = dt.date(2025, 3, 3), dt.date(2025, 3, 18)
# The points are written in SI, so that the text holds every bit of the value.
UNITS = """
[units]
speed = "fraction"
current = "A"
airflow = "m3/s"
pressure = "Pa"
air_temperature = "degC"
"""
_SQLITE_TRIGGER = ("create trigger if not exists note_{name} after insert on {name} begin {insert}; end",)
_POSTGRESQL_TRIGGER = (
    "create or replace function note_{name}() returns trigger language plpgsql as "
    "$$ begin {insert}; return null; end $$",
    "create or replace trigger note_{name} after insert on {name} "
    "for each row execute function note_{name}()",
)
TABLES = ("daily", "tachometer_pairs", "episodes", "findings", "curves", "fan_days")


@cache
def drawn(start: str = FIRST.isoformat(), days: int = DAYS, minutes: int = 15) -> tuple[Trends, ...]:
    """Three fans: one slips from day 42, one has a synchronous belt, one loses its belt on day 57."""
    common: dict[str, object] = {
        "quality": "good",
        "is_metric": True,
        "altitude_m": 1600.0,
        "motor_kind": "induction",
        "pressure_location": "across_fan",
    }
    kinds: list[tuple[str, dict[str, object]]] = [
        (
            SLIPPING,
            {
                "fan_type": "airfoil",
                "drive": "v_belt",
                "duty": "supply",
                "control": "pressure",
                "use": "office",
                "motor_w": 15000.0,
                "faults": (Fault("slip", 42.0, 0.06, "step"),),
            },
        ),
        (
            SYNCHRONOUS,
            {
                "fan_type": "backward_inclined",
                "drive": "synchronous_belt",
                "duty": "exhaust",
                "control": "scheduled",
                "use": "workshop",
                "motor_w": 7500.0,
            },
        ),
        (
            LOST,
            {
                "fan_type": "airfoil",
                "drive": "v_belt",
                "duty": "return",
                "control": "flow",
                "use": "laboratory",
                "motor_w": 7500.0,
                "faults": (Fault("lost", 57.43, 1.0, "step"),),
            },
        ),
    ]
    plans = [
        draw_plan(np.random.default_rng(seed), name, Choices(**common, **kind))  # type: ignore[arg-type]
        for seed, (name, kind) in enumerate(kinds, start=1)
    ]
    site = dataclasses.replace(plans[0].site, zone=ZONE)
    quiet = [dataclasses.replace(p, site=site, gap_share=0.0, outages_per_100_days=0.0) for p in plans]
    return tuple(simulate(plan, start, days, minutes, seed=seed) for seed, plan in enumerate(quiet))


def schedule(runs: Sequence[Trends], **cells: dict[str, str]) -> str:
    """Write fans.csv; `cells` by fan (with _ for -) are put into its row."""
    rows = []
    for run in runs:
        points = {role: f"{run.plan.name} {role}" for role in run.plan.sensors}
        row = {k: v for k, v in schedule_row(run.plan, points, is_metric=True).items() if "_unit" not in k}
        rows.append({**row, "fan": run.plan.name, **cells.get(run.plan.name.replace("-", "_"), {})})
    extra = [key for cell in cells.values() for key in cell if key not in SCHEDULE_COLUMNS]
    return table(rows, [*SCHEDULE_COLUMNS, *dict.fromkeys(extra)])


def export(runs: Iterable[Trends], begin: dt.datetime, end: dt.datetime) -> str:
    """Write a wide export of every point for times in [begin, end), to the last bit, in UTC."""
    frames = []
    for run in runs:
        roles = {COLUMNS[role]: f"{run.plan.name} {role}" for role in run.plan.sensors}
        part = run.readings.loc[(run.readings.index >= begin) & (run.readings.index < end), list(roles)]
        frames.append(part.rename(columns=roles))
    wide = pd.concat(frames, axis=1)
    wide.insert(0, "Timestamp", [f"{time:%Y-%m-%dT%H:%M:%SZ}" for time in wide.index])
    text: str = wide.to_csv(index=False)
    return text


class Plant:
    """A site's folder and what is done with it."""

    def __init__(self, folder: Path, runs: Sequence[Trends]) -> None:
        self.folder, self.runs = folder, runs
        (folder / "drop").mkdir(parents=True, exist_ok=True)

    def declare(self, *, baseline: tuple[str, str] | None = HEALTHY, fans: str = "", extra: str = "") -> None:
        period = "" if baseline is None else f'[baseline]\nfrom = "{baseline[0]}"\nto = "{baseline[1]}"\n'
        head = f'name = "Test site"\ntimezone = "{ZONE}"\naltitude_m = 1600\n{extra}\n'
        source = '[[sources]]\nname = "nightly"\nurl = "drop"\n'
        (self.folder / "site.toml").write_text(f"{database_line(self.folder)}{head}{source}{UNITS}\n{period}")
        (self.folder / "fans.csv").write_text(fans or schedule(self.runs))

    def log(self, *entries: str) -> None:
        head = "fan,date,time,work,motor_rpm,fan_rpm"
        (self.folder / "service_log.csv").write_text("\n".join([head, *entries]) + "\n")

    def midnight(self, date: dt.date) -> dt.datetime:
        return dt.datetime.combine(date, dt.time(), tzinfo=load_site(self.folder).site.zone).astimezone(
            dt.UTC
        )

    def drop(self, name: str, first: dt.date, last: dt.date, runs: Sequence[Trends] | None = None) -> None:
        """Export whole plant days, both included."""
        begin, end = self.midnight(first), self.midnight(last + dt.timedelta(days=1))
        self.drop_span(name, begin, end, runs)

    def drop_span(
        self, name: str, begin: dt.datetime, end: dt.datetime, runs: Sequence[Trends] | None = None
    ) -> None:
        (self.folder / "drop" / name).write_text(export(self.runs if runs is None else runs, begin, end))

    def pull(self) -> None:
        site = load_site(self.folder)
        with open_store(site) as store:
            pull(site, store, clock=lambda: PULLED_AT)

    def assess(self, as_of: str | None = None) -> tuple[str, ...]:
        site = load_site(self.folder)
        with open_store(site) as store:
            moved = assess(site, store, None if as_of is None else instant_of(as_of, site.site.zone))
            keep_alerts(site, store, PULLED_AT)
        return moved

    def daily(self, fan: str | None = None) -> pd.DataFrame:
        with open_store(load_site(self.folder)) as store:
            return export_daily(store, fan)

    def row(self, fan: str, date: dt.date) -> "pd.Series[object]":
        rows = self.daily(fan)
        found = rows[rows["date"] == date]
        assert len(found) == 1, f"{fan} has {len(found)} rows on {date}"
        return found.iloc[0]

    def alerts(self, fan: str | None = None) -> pd.DataFrame:
        with open_store(load_site(self.folder)) as store:
            return export_alerts(store, fan)

    def query(self, text: str) -> list[tuple[object, ...]]:
        return query(self.folder, text)

    def everything(self) -> dict[str, list[tuple[object, ...]]]:
        """Return all that promise 1 is about, states and digests included."""
        found = {}
        with open_store(load_site(self.folder)) as store, store.reader() as connection:
            for name in TABLES:
                columns = [column for column in METADATA.tables[name].c if column.name != "id"]
                rows = connection.execute(sa.select(*columns))
                found[name] = sorted((tuple(row) for row in rows), key=repr)
        return found

    def watch_writes(self) -> None:
        """From now on the database notes which rows are written."""
        with open_store(load_site(self.folder)) as store, store.writer() as connection:
            connection.execute(sa.text("create table if not exists written (name text, fan text, date text)"))
            connection.execute(sa.text("delete from written"))
            for name in TABLES:
                date = "new.date" if name in ("daily", "tachometer_pairs", "fan_days") else "''"
                insert = f"insert into written values ('{name}', new.fan, {date})"
                for statement in _POSTGRESQL_TRIGGER if is_postgresql() else _SQLITE_TRIGGER:
                    connection.execute(sa.text(statement.format(name=name, insert=insert)))

    def written(self) -> set[tuple[object, ...]]:
        return set(self.query("select * from written"))

    def copied(self, folder: Path) -> "Plant":
        copy_site(self.folder, folder)
        return Plant(folder, self.runs)


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """The site with all its exports, pulled and assessed; not to be changed."""
    plant = Plant(tmp_path_factory.mktemp("whole") / "site", drawn())
    plant.declare()
    plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
    plant.pull()
    plant.assess()
    return plant


@pytest.fixture
def plant(whole: Plant, tmp_path: Path) -> Plant:
    """A copy of the assessed site."""
    return whole.copied(tmp_path / "site")


@pytest.fixture
def new_plant(tmp_path: Path) -> Callable[..., Plant]:
    """Make sites with nothing in their drop."""
    made: list[Plant] = []

    def make(runs: Sequence[Trends] | None = None, **declared: object) -> Plant:
        site = Plant(tmp_path / f"site {len(made)}", drawn() if runs is None else runs)
        site.declare(**declared)  # type: ignore[arg-type]
        made.append(site)
        return site

    return make
