"""A year of service on a stepped clock, with everything that goes wrong in one, beside an undisturbed year.

Promised: every reading is in, each week's mail lies in the outbox once, the alerts are the same.
"""

import datetime as dt
import random
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
import pytest
import sqlalchemy as sa

from config import load_site
from service.alerts import export_alerts
from service.assess import export_daily
from service.intake import export_readings
from service.mail.weeks import Week
from service.store import open_store
from service.store.mail_tables import outbox
from service.store.worker_tables import job_runs
from tests.service.worker.hall import Hall, Post, Story
from tests.service.worker.stepped import Landings, SteppedClock, SteppedService, play

FIRST: Final = dt.date(2025, 1, 6)
DAYS: Final = 365
MINUTES: Final = 30
SLIP_DAY: Final = 130.0
LOST_DAY: Final = 250.43
RESTARTS: Final = 40
KILLS: Final = 60
CLOCK_STEPS: Final = 12
DISK: Final = "160m"
FEW_BYTES: Final = 1 << 12
HOUR: Final = dt.timedelta(hours=1)
DAY: Final = dt.timedelta(days=1)
STORY: Final = Story(FIRST, DAYS, MINUTES, SLIP_DAY, LOST_DAY)
CADENCE: Final = {"pull_minutes": 720, "outbox_minutes": 360, "watch_minutes": 720}


@dataclass
class Happened:
    """What was done to the service, counted."""

    restarts: int = 0
    kills: int = 0
    clock_steps: int = 0
    outages: int = 0
    second_workers: int = 0
    full_disks: int = 0


class Year:
    """A hall and its service over a year."""

    def __init__(self, folder: Path, post: Post, port: int) -> None:
        self.hall = Hall.founded(folder, STORY, port=port, **CADENCE)
        self.post = post
        self.clock = SteppedClock(self.hall.midnight(0) + 9 * HOUR)
        self.service = SteppedService(folder, self.clock)
        self.happened = Happened()
        self.processor_s = 0.0

    def play(self, acts: list[tuple[dt.datetime, Callable[[], None]]]) -> None:
        begun = time.process_time()
        self.service.start()
        self.landings = Landings(self.hall.folder / "drop", self.hall.exports(), kept_days=10)
        play(self.service, self.landings, acts, self.hall.midnight(DAYS) + 60 * HOUR)
        self.service.stop()
        self.processor_s = time.process_time() - begun

    def readings(self) -> pd.DataFrame:
        site = load_site(self.hall.folder)
        with open_store(site) as store:
            return export_readings(site, store)

    def daily(self) -> pd.DataFrame:
        with open_store(load_site(self.hall.folder)) as store:
            return export_daily(store)

    def alerts(self) -> pd.DataFrame:
        with open_store(load_site(self.hall.folder)) as store:
            return export_alerts(store)

    def rows(self, query: sa.Select[Any]) -> list[Any]:
        with open_store(load_site(self.hall.folder)) as store, store.reader() as connection:
            return list(connection.execute(query))

    # What goes wrong.

    def restart(self, downtime: dt.timedelta) -> None:
        """Stop the worker, and start it after some time in which nobody runs a job."""
        self.happened.restarts += 1
        self.service.stop()
        self.service.run_until(self.clock.true + downtime)
        self.service.start()

    def kill(self, points: int) -> None:
        """Let the worker go away at a point of the protocol that it will reach; start it an hour later."""
        self.happened.kills += 1
        self.service.dies_after = points

    def step_clock(self, by: dt.timedelta) -> None:
        self.happened.clock_steps += 1
        self.clock.offset += by

    def take_source(self) -> None:
        self.happened.outages += 1
        self._move_drop("drop", "away")

    def bring_source(self) -> None:
        self._move_drop("away", "drop")

    def _move_drop(self, now: str, then: str) -> None:
        """Exports go on landing meanwhile, where the service does not see them."""
        (self.hall.folder / now).rename(self.hall.folder / then)
        self.landings.drop = self.hall.folder / then

    def second_worker(self) -> None:
        self.happened.second_workers += 1
        assert self.service.second_worker_gets_in() is not self.service.is_up

    def fill_disk(self, room: int) -> None:
        """Leave so many bytes: rows of runs find room in them, exports and readings do not."""
        self.happened.full_disks += 1
        with (self.hall.folder / "state" / "filler").open("ab", buffering=0) as file:
            with suppress(OSError):
                while True:
                    file.write(bytes(1 << 12))
            file.truncate(max(file.tell() - room, 0))

    def empty_disk(self) -> None:
        (self.hall.folder / "state" / "filler").unlink()

    def refuse_mail(self, is_refusing: bool) -> None:
        self.post.is_refusing = is_refusing


def trouble(year: Year, rng: random.Random) -> list[tuple[dt.datetime, Callable[[], None]]]:
    """Return a year's misfortunes at their times."""
    start = year.hall.midnight(0)
    acts: list[tuple[dt.datetime, Callable[[], None]]] = []

    def at(day: float, act: Callable[[], None]) -> None:
        acts.append((start + day * DAY, act))

    for _ in range(RESTARTS):
        downtime = rng.choice([5 / 60, 0.5, 3, 20, 50]) * HOUR
        at(rng.uniform(2, DAYS - 3), lambda downtime=downtime: year.restart(downtime))
    for _ in range(KILLS):
        day = rng.uniform(2, DAYS - 3)
        points = rng.randrange(12)
        at(day, lambda points=points: year.kill(points))
    for _ in range(CLOCK_STEPS):
        day, by = rng.uniform(5, DAYS - 5), rng.uniform(-3, 3) * HOUR
        at(day, lambda by=by: year.step_clock(by))
        at(day + rng.uniform(0.05, 0.5), lambda by=by: year.step_clock(-by))
    for share, days in ((0.11, 1.5), (0.33, 4.0), (0.55, 2.2), (0.82, 3.0)):
        at(share * DAYS, year.take_source)
        at(share * DAYS + days, year.bring_source)
    for share in (0.09, 0.49, 0.5, 0.71, 0.85):
        at(share * DAYS, year.second_worker)
    monday = DAYS // 14 * 7 + 7
    at(monday - 0.5, lambda: year.refuse_mail(True))
    at(monday + 2.5, lambda: year.refuse_mail(False))
    pull = unspoilt_pull(start, [act[0] for act in acts])
    acts.append((pull - 0.1 * HOUR, lambda: year.fill_disk(room=FEW_BYTES)))
    acts.append((pull + 0.4 * HOUR, lambda: year.fill_disk(room=0)))
    acts.append((pull + 0.9 * HOUR, year.empty_disk))
    return acts


def unspoilt_pull(start: dt.datetime, spoilt: list[dt.datetime]) -> dt.datetime:
    """Return when a pull is due, in the year's last quarter, to which the worker comes as it should."""
    noons = [start.replace(hour=12) + day * DAY for day in range(DAYS * 3 // 4, DAYS - 3)]
    return next(noon for noon in noons if not any(-0.2 * DAY < noon - at < 2.5 * DAY for at in spoilt))


@contextmanager
def small_disk(folder: Path) -> Iterator[None]:
    """Put a folder on a disk of its own that can be filled."""
    folder.mkdir(parents=True)
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK}", "none", str(folder)]
    if not sys.platform.startswith("linux") or subprocess.run(command, check=False).returncode:
        pytest.skip("needs the right to mount a small disk that can be filled")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.long
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("seed", [1])
def test_a_year_with_everything_that_goes_wrong_ends_as_an_undisturbed_one(
    tmp_path: Path, post: Callable[[], tuple[Post, int]], seed: int
) -> None:
    with small_disk(tmp_path / "calm" / "state"), small_disk(tmp_path / "rough" / "state"):
        calm, rough = Year(tmp_path / "calm", *post()), Year(tmp_path / "rough", *post())
        calm.play([])
        rough.play(trouble(rough, random.Random(seed)))
        print_figures(calm, rough)
        assert_same_year(calm, rough)
        said = sa.or_(job_runs.c.error.contains("disk is full"), job_runs.c.error.contains("No space left"))
        assert rough.service.not_entered or rough.rows(sa.select(job_runs.c.id).where(said))


def assert_same_year(calm: Year, rough: Year) -> None:
    pd.testing.assert_frame_equal(rough.readings(), calm.readings())
    stamps = sum(len(content.splitlines()) - 1 for _, _, content in calm.hall.exports())
    assert len(rough.readings()) == len(calm.hall.fans) * stamps
    pd.testing.assert_frame_equal(rough.daily(), calm.daily())
    assert {"belt_slip", "drive_lost"} <= set(calm.alerts()["kind"])
    pd.testing.assert_frame_equal(rough.alerts(), calm.alerts())
    first = Week.of(FIRST)
    weeks = [str(Week.of(first.first + dt.timedelta(weeks=number))) for number in range((DAYS + 2) // 7)]
    for year in (calm, rough):
        rows = year.rows(sa.select(outbox.c.occasion, outbox.c.sent_at, outbox.c.message_id))
        weekly = [row for row in rows if "-W" in row.occasion]
        assert sorted(row.occasion for row in weekly) == sorted(weeks)
        assert all(row.sent_at is not None for row in rows)
        assert {row.message_id for row in rows} == set(year.post.taken)


def print_figures(calm: Year, rough: Year) -> None:
    for name, year in (("calm", calm), ("rough", rough)):
        outcomes = dict(
            year.rows(sa.select(job_runs.c.outcome, sa.func.count()).group_by(job_runs.c.outcome))
        )
        again = sum(count - 1 for count in Counter(year.post.taken).values())
        print(
            f"\n{name}: {DAYS} days in {year.processor_s:.0f} processor s; "
            f"{year.service.runs} runs, of those kept {outcomes}; "
            f"{year.service.not_entered} turns not written; {len(year.readings())} readings, "
            f"{len(year.daily())} days, {len(year.alerts())} alerts, {len(year.post.taken)} mails taken "
            f"({again} a second time), {year.post.refused} refused; {year.happened}"
        )
