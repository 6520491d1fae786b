"""Promise 5 through the worker: killed anywhere in pull, assess and mail, over and over, it ends the same."""

import datetime as dt
import random
import shutil
import subprocess
import sys
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
from tests.service.worker.hall import Hall, Post
from tests.service.worker.killed import ANY, DIED, STORY, remember
from tests.service.worker.stepped import Landings, SteppedClock, SteppedService, play

ROOT: Final = Path(__file__).parents[3]
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
LEAST_KILLS: Final = 200


class Ward:
    """A hall that was well until a day, and what becomes of copies of it."""

    def __init__(self, folder: Path, post: Post, port: int) -> None:
        self.hall = Hall.founded(folder, STORY, port=port, **CADENCE)
        self.post = post
        self._play(folder, self.hall.midnight(0) + dt.timedelta(hours=9), self.hall.midnight(CALM_DAYS))
        remember(folder, self.hall.midnight(CALM_DAYS))
        self._copies = 0

    @property
    def end(self) -> dt.datetime:
        return self.hall.midnight(STORY.days) + dt.timedelta(hours=12)

    def copied(self) -> Path:
        self._copies += 1
        return Path(shutil.copytree(self.hall.folder, self.hall.folder.with_name(f"copy {self._copies}")))

    def undisturbed(self) -> Path:
        folder = self.copied()
        self._play(folder, self.hall.midnight(CALM_DAYS), self.end)
        return folder

    def killed(self, how: Callable[[], tuple[str, int]], most: int) -> tuple[Path, Counter[str]]:
        """Go on in processes that die as `how` says until one comes to the end; count the deaths."""
        folder, deaths = self.copied(), Counter[str]()
        while True:
            point, count = how() if deaths.total() < most else (ANY, 1_000_000)
            facts = [self.end.isoformat(), point, str(count)]
            command = [sys.executable, "-m", "tests.service.worker.killed", str(folder), *facts]
            ended = subprocess.run(command, cwd=ROOT, check=False, capture_output=True, text=True)
            if ended.returncode == 0:
                return folder, deaths
            assert ended.returncode == DIED, ended.stderr
            deaths[point] += 1

    def _play(self, folder: Path, begin: dt.datetime, until: dt.datetime) -> None:
        service = SteppedService(folder, SteppedClock(begin))
        service.start()
        play(service, Landings(folder / "drop", self.hall.exports(), kept_days=400), [], until)
        service.stop()


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
    ward = Ward(tmp_path / "ward", *post())
    undisturbed = ward.undisturbed()
    alerts = end_state(undisturbed)[0][2]
    assert {"belt_slip", "drive_lost"} <= set(alerts["kind"])
    ids = set(ward.post.taken)
    deaths, seed = Counter[str](), 0
    while deaths.total() < LEAST_KILLS or any(not deaths[point] for point in NAMED):
        seed += 1
        rng = random.Random(seed)

        def how(rng: random.Random = rng) -> tuple[str, int]:
            return (ANY, rng.randrange(40)) if rng.random() < 0.6 else (rng.choice(NAMED), rng.randrange(2))

        ward.post.taken.clear()
        folder, died = ward.killed(how, most=LEAST_KILLS)
        deaths += died
        assert_same(folder, undisturbed)
        assert set(ward.post.taken) <= ids
        again = sum(count - 1 for count in Counter(ward.post.taken).values())
        print(f"\nseed {seed}: {died.total()} kills, {len(ward.post.taken)} mails, {again} a second time")
        shutil.rmtree(folder)
    print(f"{deaths.total()} kills: {dict(deaths)}")
