"""Days of service on a stepped clock: what is due is done once, whatever happened to the worker."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from config import load_site
from service.intake import export_readings
from service.store import faults, open_store
from service.store.mail_tables import outbox
from service.store.runs import Heartbeat, Run, RunOutcome
from tests.service.worker.hall import Hall, Post, Story
from tests.service.worker.stepped import HOUR, Landings, SteppedClock, SteppedService, play

FIRST = dt.date(2025, 3, 7)  # a Friday; the clocks change on Sunday the 9th
DAYS = 4
CADENCE = {"pull_minutes": 720, "outbox_minutes": 240, "watch_minutes": 240}


class Stage:
    """A hall, its service and its post, with a script of what happens."""

    def __init__(self, folder: Path, post: Post, port: int) -> None:
        self.hall = Hall.founded(folder, Story(FIRST, DAYS, 60), port=port, **CADENCE)
        self.post = post
        self.clock = SteppedClock(self.at(0, 9))
        self.service = SteppedService(folder, self.clock)

    def at(self, day: int, hour: float = 0.0) -> dt.datetime:
        """Return a time by the clock on the wall."""
        local = dt.datetime.combine(FIRST + dt.timedelta(days=day), dt.time(), self.zone)
        return (local + dt.timedelta(hours=hour)).astimezone(dt.UTC)

    @property
    def zone(self) -> dt.tzinfo:
        return load_site(self.hall.folder).site.zone

    def play(self, *acts: tuple[dt.datetime, Callable[[], None]]) -> None:
        self.service.start()
        landings = Landings(self.hall.folder / "drop", self.hall.exports(), kept_days=20)
        play(self.service, landings, acts, self.at(DAYS, 12))
        self.service.stop()

    def runs(self, job: str) -> list[Run]:
        with open_store(load_site(self.hall.folder)) as store:
            return list(reversed(store.runs.latest(10_000, job)))

    def beat(self, job: str) -> Heartbeat:
        with open_store(load_site(self.hall.folder)) as store:
            return store.runs.beats()[job]

    def told(self, occasion: str) -> list[str]:
        query = sa.select(outbox.c.occasion).where(outbox.c.occasion.startswith(occasion))
        with open_store(load_site(self.hall.folder)) as store, store.reader() as connection:
            return list(connection.execute(query).scalars())

    def hours_with_readings(self) -> int:
        site = load_site(self.hall.folder)
        with open_store(site) as store:
            return len(export_readings(site, store)["time_utc"].unique())


@pytest.fixture
def stage(tmp_path: Path, post: Callable[[], tuple[Post, int]]) -> Stage:
    return Stage(tmp_path / "site", *post())


def test_days_over_the_change_of_the_clocks(stage: Stage) -> None:
    stage.play()
    assert stage.hours_with_readings() == 24 * DAYS - 1
    nights = [run.due.astimezone(stage.zone).strftime("%d %H:%M") for run in stage.runs("upkeep")]
    assert nights[-2:] == ["10 03:30", "11 03:30"]  # of nights before, idle runs are forgotten
    (monday,) = stage.runs("weekly mail")
    assert (monday.due, monday.started, monday.counts["week"]) == (stage.at(3, 6), stage.at(3, 6), "2025-W10")
    assert stage.told("2025-W") == ["2025-W10"]
    assert len(stage.post.taken) == len(set(stage.post.taken)) == len(stage.told(""))
    assert {run.outcome for run in stage.runs("pull nightly")} == {RunOutcome.DONE}


def test_a_worker_that_was_away_over_monday_makes_the_mail_up_once(stage: Stage) -> None:
    stage.play((stage.at(2, 20), stage.service.stop), (stage.at(4, 1), stage.service.start))
    (made_up,) = stage.runs("weekly mail")
    assert (made_up.due, made_up.started) == (stage.at(3, 6), stage.at(4, 1))
    assert stage.told("2025-W") == ["2025-W10"]
    assert stage.hours_with_readings() == 24 * DAYS - 1


def test_a_clock_set_ahead_and_back_sends_no_mail_twice(stage: Stage) -> None:
    def step(hours: float) -> Callable[[], None]:
        def turn() -> None:
            stage.clock.offset += dt.timedelta(hours=hours)

        return turn

    stage.play((stage.at(3, 5), step(5.0)), (stage.at(3, 5.5), step(-5.0)), (stage.at(3, 20), step(-6.0)))
    assert len(stage.runs("weekly mail")) == 2  # once by the wrong clock, once by the right one
    assert stage.told("2025-W") == ["2025-W10"]
    assert len(stage.post.taken) == len(set(stage.post.taken))
    assert stage.hours_with_readings() == 24 * DAYS - 1


def test_a_source_that_is_away_is_told_once_when_its_pull_is_late_and_made_up(stage: Stage) -> None:
    drop, away = stage.hall.folder / "drop", stage.hall.folder / "away"
    late: list[bool] = []

    def look() -> None:
        late.append(stage.beat("pull nightly").is_late(stage.clock()))

    stage.service.start()
    landings = Landings(drop, stage.hall.exports(), kept_days=20)

    def leave() -> None:
        drop.rename(away)
        landings.drop = away

    def come_back() -> None:
        away.rename(drop)
        landings.drop = drop

    acts = [
        (stage.at(1, 12.1), leave),
        (stage.at(1, 13), look),
        (stage.at(3, 2.1), look),
        (stage.at(3, 2.2), come_back),
    ]
    play(stage.service, landings, acts, stage.at(DAYS, 12))
    stage.service.stop()
    assert late == [False, True]
    failed = [run for run in stage.runs("pull nightly") if run.outcome is RunOutcome.FAILED]
    assert len(failed) > 3
    assert "cannot be reached" in str(failed[0].error)
    assert len(stage.told("late pull nightly")) == 1
    assert not stage.beat("pull nightly").is_late(stage.clock())
    assert stage.hours_with_readings() == 24 * DAYS - 1


def test_a_second_worker_is_not_let_in(stage: Stage) -> None:
    stage.service.start()
    assert not stage.service.second_worker_gets_in()
    stage.service.stop()
    assert stage.service.second_worker_gets_in()


@pytest.mark.parametrize("point", [faults.HOURS_WRITTEN, faults.ALERTS_KEPT])
@pytest.mark.long
def test_a_judgement_that_a_kill_cut_short_is_made_up_at_the_next_start(stage: Stage, point: str) -> None:
    """And not after the next pull, which is half a day away."""

    def doom() -> None:
        stage.service.dies_at = point

    stage.play((stage.at(2, 0), doom))
    runs = stage.runs("assess")
    (cut,) = [run for run in runs if run.outcome is RunOutcome.ABANDONED]
    again = runs[runs.index(cut) + 1]
    assert again.outcome is RunOutcome.DONE
    assert again.started - cut.started == HOUR  # when somebody started it
