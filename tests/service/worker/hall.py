"""A small site whose exports land night after night, and a mail server that can be made to refuse."""

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

import numpy as np
import pandas as pd

from config import load_site
from demo_trends.draw import Choices, draw_plan
from demo_trends.export import table
from demo_trends.faults import Fault
from demo_trends.readings import COLUMNS
from demo_trends.schedule import COLUMNS as SCHEDULE_COLUMNS
from demo_trends.schedule import schedule_row
from demo_trends.simulator import Trends, simulate
from tests.service.databases import database_line

ZONE = "America/New_York"
SITE = """
name = "Stepped Hall"
timezone = "{zone}"
altitude_m = 100
[[sources]]
name = "nightly"
url = "drop"
every_minutes = {pull_minutes}
[units]
speed = "fraction"
airflow = "m3/s"
pressure = "Pa"
air_temperature = "degC"
[baseline]
from = "{healthy_from}"
to = "{healthy_to}"
[mail]
from = "fans@hall.example"
weekly = ["manager@hall.example"]
immediate = ["shop@hall.example"]
smtp = "smtp://127.0.0.1:{port}"
[worker]
outbox_minutes = {outbox_minutes}
watch_minutes = {watch_minutes}
"""


@dataclass(frozen=True)
class Story:
    """What happens to two belts: one slips from a day on, one is lost on another."""

    first: dt.date
    days: int
    minutes: int
    slip_day: float = 130.0
    lost_day: float = 250.43
    healthy_days: int = 35


@cache
def drawn(story: Story) -> tuple[Trends, ...]:
    """Return the trends of both fans."""
    common: dict[str, Any] = {
        "quality": "good",
        "is_metric": True,
        "altitude_m": 100.0,
        "motor_kind": "induction",
        "pressure_location": "across_fan",
        "fan_type": "airfoil",
        "drive": "v_belt",
        "motor_w": 15000.0,
    }
    kinds: list[tuple[str, dict[str, Any]]] = [
        (
            "SF-1",
            {
                "duty": "supply",
                "control": "pressure",
                "use": "office",
                "faults": (Fault("slip", story.slip_day, 0.06, "step"),),
            },
        ),
        (
            "RF-2",
            {
                "duty": "return",
                "control": "flow",
                "use": "laboratory",
                "faults": (Fault("lost", story.lost_day, 1.0, "step"),),
            },
        ),
    ]
    plans = [
        draw_plan(np.random.default_rng(seed), name, Choices(**common, **kind))
        for seed, (name, kind) in enumerate(kinds, start=1)
    ]
    site = dataclasses.replace(plans[0].site, zone=ZONE)
    quiet = [dataclasses.replace(p, site=site, gap_share=0.0, outages_per_100_days=0.0) for p in plans]
    span = (story.first.isoformat(), story.days, story.minutes)
    return tuple(simulate(plan, *span, seed=seed) for seed, plan in enumerate(quiet))


class Hall:
    """A site's folder and the exports that are to land in it."""

    def __init__(self, folder: Path, story: Story) -> None:
        self.folder, self.story = folder, story
        self.fans = drawn(story)

    @classmethod
    def founded(cls, folder: Path, story: Story, **settings: Any) -> Self:
        """Write a new site's files."""
        (folder / "drop").mkdir(parents=True)
        told = {
            "zone": ZONE,
            "pull_minutes": 360,
            "outbox_minutes": 120,
            "watch_minutes": 360,
            "port": 9,
            "healthy_from": story.first,
            "healthy_to": story.first + dt.timedelta(days=story.healthy_days),
            **settings,
        }
        (folder / "site.toml").write_text(database_line(folder) + SITE.format(**told))
        (folder / "fans.csv").write_text(_schedule(drawn(story)))
        return cls(folder, story)

    def midnight(self, day: int) -> dt.datetime:
        zone = load_site(self.folder).site.zone
        date = self.story.first + dt.timedelta(days=day)
        return dt.datetime.combine(date, dt.time(), tzinfo=zone).astimezone(dt.UTC)

    def exports(self) -> list[tuple[dt.datetime, str, str]]:
        """Return the file of each plant day, with the time at which it lands: 01:10 the next morning."""
        files = []
        for day in range(self.story.days):
            begin, end = self.midnight(day), self.midnight(day + 1)
            name = f"{self.story.first + dt.timedelta(days=day)}.csv"
            files.append((end + dt.timedelta(minutes=70), name, _export(self.fans, begin, end)))
        return files


def _schedule(fans: Sequence[Trends]) -> str:
    rows = []
    for run in fans:
        points = {role: f"{run.plan.name} {role}" for role in run.plan.sensors}
        row = {k: v for k, v in schedule_row(run.plan, points, is_metric=True).items() if "_unit" not in k}
        rows.append({**row, "fan": run.plan.name, "building": "Stepped Hall"})
    return table(rows, list(SCHEDULE_COLUMNS))


def _export(fans: Sequence[Trends], begin: dt.datetime, end: dt.datetime) -> str:
    frames = []
    for run in fans:
        roles = {COLUMNS[role]: f"{run.plan.name} {role}" for role in run.plan.sensors}
        part = run.readings.loc[(run.readings.index >= begin) & (run.readings.index < end), list(roles)]
        frames.append(part.rename(columns=roles))
    wide = pd.concat(frames, axis=1)
    wide.insert(0, "Timestamp", [f"{time:%Y-%m-%dT%H:%M:%SZ}" for time in wide.index])
    text: str = wide.to_csv(index=False)
    return text


class Post:
    """A mail server on loopback that keeps what it takes and can be told to refuse."""

    def __init__(self) -> None:
        self.is_refusing = False
        self.refused = 0
        self.taken: list[str] = []  # the Message-ID of each mail

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        if self.is_refusing:
            self.refused += 1
            return "451 try again later"
        lines = envelope.content.decode("latin-1").replace("\r\n ", " ").splitlines()
        self.taken.append(next(line for line in lines if line.lower().startswith("message-id:"))[11:].strip())
        return "250 taken"
