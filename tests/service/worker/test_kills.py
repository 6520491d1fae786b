"""Promise 5 through the worker: killed anywhere in pull, assess and mail, over and over, it ends the same."""

import datetime as dt
import random
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pandas as pd
import pytest
import sqlalchemy as sa

from config import load_site
from service.alerts import export_alerts
from service.assess import export_daily
from service.intake import export_readings
from service.store import faults, open_store
from service.store.mail_tables import outbox
from service.store.runs import RunOutcome
from service.store.worker_tables import job_runs
from tests.service.databases import copy_site
from tests.service.worker.hall import Hall, Post
from tests.service.worker.killed import ANY, MOMENT, NEVER, STORY, Mother, remember
from tests.service.worker.stepped import Landings, SteppedClock, SteppedService, play

CALM_DAYS: Final = 38
CADENCE: Final = {"pull_minutes": 360, "outbox_minutes": 240, "watch_minutes": 720}
NAMED: Final = (
    faults.EXPORT_KEPT,
    faults.PASS_INTENDED,
    faults.DELTA_COMMITTED,
    faults.PASS_DONE,
    faults.HOURS_WRITTEN,
    faults.BATCH_JUDGED,
    faults.BATCH_ASSESSED,
    faults.ALERTS_KEPT,
    faults.WEEK_WRITTEN,
    faults.MAIL_CLAIMED,
    faults.MAIL_TAKEN,
)
JOBS: Final = ("pull nightly", "assess", "weekly mail", "outbox")
LEAST_KILLS: Final = 200
MOST_A_COPY: Final = 60
How = Callable[[], tuple[str, int]]


class Ward:
    """A hall that was well until a day, and what becomes of copies of it."""

    def __init__(self, folder: Path, post: Post, port: int, mother: Mother) -> None:
        self.hall = Hall.founded(folder, STORY, port=port, **CADENCE)
        self.post, self._mother = post, mother
        self._play(folder, self.hall.midnight(0) + dt.timedelta(hours=9), self.hall.midnight(CALM_DAYS))
        remember(folder, self.hall.midnight(CALM_DAYS))
        self._copies = 0

    @property
    def end(self) -> dt.datetime:
        return self.hall.midnight(STORY.days) + dt.timedelta(hours=12)

    def copied(self) -> Path:
        self._copies += 1
        copy = self.hall.folder.with_name(f"copy {self._copies}")
        copy_site(self.hall.folder, copy)
        return copy

    def undisturbed(self) -> Path:
        folder = self.copied()
        self._play(folder, self.hall.midnight(CALM_DAYS), self.end)
        return folder

    def killed(self, how: How) -> tuple[Path, Counter[str]]:
        """Go on in processes that die as `how` says until one comes to the end; count the deaths."""
        folder, deaths = self.copied(), Counter[str]()
        while True:
            point, count = how() if deaths.total() < MOST_A_COPY else (NEVER, 0)
            if self._mother.is_survived(folder, self.end, point, count):
                return folder, deaths
            deaths[point] += 1

    def _play(self, folder: Path, begin: dt.datetime, until: dt.datetime) -> None:
        service = SteppedService(folder, SteppedClock(begin))
        service.start()
        play(service, Landings(folder / "drop", self.hall.exports(), kept_days=400), [], until)
        service.stop()


def deaths_by_job(folder: Path) -> Counter[str]:
    """Return during which jobs a process went away: their runs were left open, and found so."""
    query = sa.select(job_runs.c.job).where(job_runs.c.outcome == RunOutcome.ABANDONED.value)
    with open_store(load_site(folder)) as store, store.reader() as connection:
        return Counter(connection.execute(query).scalars())


def end_state(folder: Path) -> tuple[list[pd.DataFrame], list[Any]]:
    site = load_site(folder)
    columns = [
        column for column in outbox.c if column.name in ("channel", "recipient", "occasion", "message_id")
    ]
    with open_store(site) as store:
        frames = [export_readings(site, store), export_daily(store), export_alerts(store)]
        with store.reader() as connection:
            rows = [
                tuple(row) for row in connection.execute(sa.select(*columns, outbox.c.sent_at.is_not(None)))
            ]
    return frames, sorted(rows)


def assert_same(folder: Path, undisturbed: Path) -> None:
    (mine, mails), (theirs, their_mails) = end_state(folder), end_state(undisturbed)
    for one, other in zip(mine, theirs, strict=True):
        pd.testing.assert_frame_equal(one, other)
    assert mails == their_mails


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_killed_two_hundred_times_it_ends_as_if_nothing_had_happened(
    tmp_path: Path, post: Callable[[], tuple[Post, int]]
) -> None:
    with Mother() as mother:
        ward = Ward(tmp_path / "ward", *post(), mother)
        undisturbed = ward.undisturbed()
        assert {"belt_slip", "drive_lost"} <= set(end_state(undisturbed)[0][2]["kind"])
        ids = set(ward.post.taken)
        deaths, jobs, seed = Counter[str](), Counter[str](), 0
        while deaths.total() < LEAST_KILLS or any(not deaths[point] for point in NAMED):
            seed += 1
            ward.post.taken.clear()
            folder, died = ward.killed(deaths_drawn(random.Random(seed)))
            assert_same(folder, undisturbed)
            assert set(ward.post.taken) <= ids
            deaths += died
            jobs += deaths_by_job(folder)
            again = sum(count - 1 for count in Counter(ward.post.taken).values())
            told = f"{died.total()} kills, {len(ward.post.taken)} mails taken, {again} of them a second time"
            print(f"\ncopy {seed}: {told}", flush=True)
            shutil.rmtree(folder)
    print(f"{deaths.total()} kills: {dict(deaths)}; while at a job: {dict(jobs)}")
    assert all(jobs[job] for job in JOBS)


def deaths_drawn(rng: random.Random) -> How:
    """Draw deaths: at a named point, at the n-th point of all, after some processor time."""

    def how() -> tuple[str, int]:
        chance = rng.random()
        if chance < 0.12:
            return rng.choice(NAMED), rng.randrange(2)
        if chance < 0.6:
            return ANY, rng.randrange(40)
        return MOMENT, rng.randrange(20, 500)

    return how
