"""`slipledger serve` in earnest: real processes and timers, exports pulled while it runs, a clean end."""

import contextlib
import datetime as dt
import json
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from config import load_site
from service.intake import export_intake
from service.store import open_store
from service.store.runs import RunOutcome
from tests.service.worker.hall import Hall, Story

ROOT = Path(__file__).parents[3]
MAIN = "from service.command_line import main; main()"
STOPS_WITHIN_S = 10.0


class Served:
    """A running `serve`, its address and what it says on stderr."""

    def __init__(self, folder: Path, log: Path, *options: str) -> None:
        self.log = log
        with log.open("w") as written:
            self.process = subprocess.Popen(
                [sys.executable, "-c", MAIN, "serve", str(folder), *options],
                cwd=ROOT,
                stdout=subprocess.PIPE,
                stderr=written,
                text=True,
            )

    def address(self) -> str:
        assert self.process.stdout is not None
        told = self.process.stdout.readline()
        match = re.search(r"http://[\d.:]+/", told)
        assert match is not None, told + self.log.read_text()
        return match[0]

    def lines(self) -> list[dict[str, object]]:
        """Return the log's lines: every one is a JSON object."""
        return [json.loads(line) for line in self.log.read_text().splitlines()]

    def runs(self, job: str, **counts: int) -> list[dict[str, object]]:
        runs = [line for line in self.lines() if line["event"] == "run" and line["job"] == job]
        return [line for line in runs if counts.items() <= line.items()]

    def worker(self) -> psutil.Process:
        (child,) = psutil.Process(self.process.pid).children()
        return child


@pytest.fixture
def hall(tmp_path: Path) -> Hall:
    """Return a site with an export of two days in its drop and others to come."""
    first = dt.datetime.now(dt.UTC).date() - dt.timedelta(days=4)
    made = Hall.founded(
        tmp_path / "site", Story(first, 4, 60), pull_minutes=1, outbox_minutes=1, watch_minutes=1
    )
    for _, name, content in made.exports()[:2]:
        (made.folder / "drop" / name).write_text(content)
    return made


@pytest.fixture
def served(hall: Hall, tmp_path: Path) -> Iterator[Callable[..., Served]]:
    started: list[Served] = []

    def start(*options: str) -> Served:
        started.append(Served(hall.folder, tmp_path / f"log {len(started)}", *options))
        return started[-1]

    yield start
    for one in started:
        if one.process.poll() is None:
            one.process.kill()
        one.process.wait()
        if one.process.stdout is not None:
            one.process.stdout.close()


def until(is_so: Callable[[], object], within_s: float) -> None:
    ends = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < ends, "it did not come about in time"
        time.sleep(0.1)


def answer(address: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(address, timeout=30) as page:
            return page.status, page.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def stop(one: Served) -> None:
    """Stop it politely; it and its worker are gone in time, as work done."""
    worker = one.worker()
    begun = time.monotonic()
    one.process.send_signal(signal.SIGTERM)
    assert one.process.wait(STOPS_WITHIN_S) == 0, one.log.read_text()
    assert time.monotonic() - begun < STOPS_WITHIN_S
    assert not worker.is_running()


def test_it_pulls_assesses_and_tells_that_it_is_well_until_it_is_told_to_stop(
    hall: Hall, served: Callable[..., Served]
) -> None:
    service = served("--port", "0")
    address = service.address()
    until(lambda: service.runs("assess", fans=2), 90.0)
    assert service.runs("pull nightly", files=2, refused=0)
    until(lambda: answer(f"{address}health") == (200, '{"state":"well","why":[]}'), 30.0)
    metrics = answer(f"{address}metrics")[1]
    assert 'slipledger_job_late{job="assess"} 0.0' in metrics
    assert "# HELP slipledger_job_age_seconds Seconds since" in metrics
    stop(service)
    with open_store(load_site(hall.folder)) as store:
        assert len(export_intake(store)) == 2
        assert {run.outcome for run in store.runs.latest(1000)} <= {RunOutcome.DONE, RunOutcome.STOPPED}


@pytest.mark.long
def test_a_worker_that_dies_is_started_again_and_a_second_one_waits_for_it(
    served: Callable[..., Served],
) -> None:
    service = served("--port", "0")
    service.address()
    until(lambda: service.runs("assess"), 90.0)
    first = service.worker()
    first.kill()
    until(lambda: len([line for line in service.lines() if line["event"] == "worker begins"]) == 2, 60.0)
    assert service.worker().pid != first.pid
    second = served("--only", "worker")
    until(lambda: any(line["event"] == "waits" for line in second.lines()), 60.0)
    (waits,) = [line for line in second.lines() if line["event"] == "waits"]
    assert f"worker by process {service.worker().pid} on " in str(waits["holder"])
    second.process.send_signal(signal.SIGTERM)
    assert second.process.wait(STOPS_WITHIN_S) == 0
    assert not second.runs("outbox")
    stop(service)


@pytest.mark.long
def test_the_worker_goes_when_the_pages_are_killed(served: Callable[..., Served]) -> None:
    service = served("--port", "0")
    service.address()
    worker = service.worker()
    until(service.lines, 60.0)
    service.process.kill()
    with contextlib.suppress(psutil.NoSuchProcess):
        worker.wait(STOPS_WITHIN_S)
    assert not worker.is_running()


@pytest.mark.long
@pytest.mark.timeout(600)
def test_exports_that_land_while_it_runs_are_taken_in_by_its_timers(
    hall: Hall, served: Callable[..., Served]
) -> None:
    service = served("--port", "0")
    address = service.address()

    def moved() -> int:
        # On a weekend one of the fans rests, and gets no row.
        return sum(run["fans"] != 0 for run in service.runs("assess"))

    until(lambda: moved() == 1, 120.0)
    for number, (_, name, content) in enumerate(hall.exports()[2:], start=1):
        partial = hall.folder / "drop" / f"{name}.partial"
        partial.write_text(content)
        partial.rename(hall.folder / "drop" / name)
        until(lambda number=number: len(service.runs("pull nightly", files=1)) == number, 150.0)
    until(lambda: moved() == 3, 60.0)
    assert len(service.runs("outbox")) >= 2
    assert answer(f"{address}health")[0] == 200
    stop(service)
