"""A Dask cluster shares in an assessment: the same bits as alone, though a worker is killed in the middle."""

import datetime as dt
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import boto3
import pytest
from botocore.config import Config
from distributed import Client

from config.assessing import AssessTable
from service.assess.workers import Piece, Workers, workers_of
from service.failure import WorkFailed
from tests.service.assess.conftest import DAYS, FIRST, Plant
from tests.service.server import Server

# What the object store takes as a key is invented.
_KEYS = {
    "AWS_ACCESS_KEY_ID": "key",
    "AWS_SECRET_ACCESS_KEY": "secret",
    "AWS_DEFAULT_REGION": "us-east-1",
    "AWS_REGION": "us-east-1",
    "AWS_ALLOW_HTTP": "true",
    "AWS_S3_ALLOW_UNSAFE_RENAME": "true",
}


@contextmanager
def cluster(workers: int, folder: Path) -> Iterator[str]:
    """Run a scheduler and its workers as processes of their own; yield the scheduler's address."""
    where = ["--scheduler-file", str(folder / "scheduler.json"), "--no-dashboard"]
    run = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    join = [sys.executable, "-m", "distributed.cli.dask_worker", "--no-nanny", "--nthreads", "1"]
    with (folder / "cluster.log").open("w") as log:
        running = [
            subprocess.Popen([*command, *where], stdout=log, stderr=log)
            for command in (run, *workers * [join])
        ]
        try:
            with Client(
                scheduler_file=str(folder / "scheduler.json"), timeout=90, set_as_default=False
            ) as one:
                one.wait_for_workers(workers, timeout=90)
                address: str = one.scheduler.address
            yield address
        finally:
            for process in running:
                process.kill()
                process.wait()


@contextmanager
def one_worker_killed_at_work(scheduler: str) -> Iterator[list[str]]:
    """Kill the first worker seen with a piece of the work, once; yield what it was at."""
    pieces: list[str] = []
    is_over = threading.Event()

    def kill(client: Client) -> None:
        pids = client.run(os.getpid)
        while not is_over.is_set():
            for worker, keys in client.processing().items():
                if keys:
                    os.kill(pids[worker], signal.SIGKILL)
                    pieces.extend(str(key) for key in keys)
                    return
            time.sleep(0.002)

    with Client(scheduler, set_as_default=False) as client:
        killer = threading.Thread(target=kill, args=(client,))
        killer.start()
        try:
            yield pieces
        finally:
            is_over.set()
            killer.join()


@pytest.fixture
def readings(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """An object store with an empty bucket; the address of a folder in it."""
    # In a process of its own: deltalake holds this one's lock while it waits for an answer.
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    store = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for name, value in {**_KEYS, "AWS_ENDPOINT_URL": f"http://127.0.0.1:{port}"}.items():
        monkeypatch.setenv(name, value)
    patience = Config(retries={"max_attempts": 20, "mode": "standard"})
    boto3.client("s3", config=patience).create_bucket(Bucket="campus")
    yield "s3://campus/readings"
    store.kill()
    store.wait()


@pytest.mark.long
@pytest.mark.timeout(900)
def test_a_cluster_finds_the_same_bits_though_a_worker_is_killed(
    whole: Plant, new_plant: Callable[..., Plant], readings: str, server: Server, tmp_path: Path
) -> None:
    # Readings in an object store and the state in PostgreSQL: what workers on other hosts would use.
    with cluster(3, tmp_path) as scheduler:
        plant = new_plant(extra=f'database = "{server.migrated()}"\nreadings = "{readings}"\n')
        site_file = plant.folder / "site.toml"
        shared = f'[assess]\nexecutor = "dask"\nscheduler = "{scheduler}"\n'
        site_file.write_text(f"{site_file.read_text()}\n{shared}")
        plant.drop("all.csv", FIRST, FIRST + dt.timedelta(days=DAYS))
        plant.pull()
        with one_worker_killed_at_work(scheduler) as pieces:
            plant.assess()
    assert pieces
    assert plant.everything() == whole.everything()


def test_a_scheduler_that_does_not_answer_is_named_with_its_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.assess.workers._CONNECT_S", 0.2)
    nobody = AssessTable(executor="dask", scheduler="tcp://127.0.0.1:9")
    with (
        pytest.raises(WorkFailed, match=r"no Dask scheduler answers at tcp://127.0.0.1:9"),
        workers_of(nobody),
    ):
        pass


def _twice(number: int) -> int:
    return 2 * number


def _die(number: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return number


def _pieces(count: int) -> Iterator[Piece]:
    return (Piece((number,), 1.0) for number in range(count))


@pytest.mark.long
def test_processes_of_this_machine_answer_in_the_order_of_the_pieces() -> None:
    with workers_of(AssessTable(workers=2)) as workers:
        workers.worth = 3.0
        assert list(workers.in_order(_twice, _pieces(12))) == [2 * number for number in range(12)]
        assert workers.executor is not None
        assert workers.done == 3.0


def test_what_is_little_is_done_without_starting_anybody() -> None:
    with workers_of(AssessTable(workers=2)) as workers:
        assert list(workers.in_order(_twice, _pieces(12))) == [2 * number for number in range(12)]
        assert workers.executor is None


@pytest.mark.long
def test_a_process_killed_is_told_with_what_to_do() -> None:
    with workers_of(AssessTable(workers=2)) as workers:
        workers.worth = 0.0
        with pytest.raises(WorkFailed, match="nothing is lost: assess again, with fewer workers"):
            list(workers.in_order(_die, _pieces(2)))


def _noted(asked: list[int]) -> Iterator[Piece]:
    for number in range(100):
        asked.append(number)
        yield Piece((number,), 1.0)


def test_what_is_done_is_handed_on_before_more_is_asked_for() -> None:
    asked: list[int] = []
    with ThreadPoolExecutor(1) as executor:
        workers = Workers(lambda: _AtOnce(executor), 2, worth=0.0)
        for number, answer in enumerate(workers.in_order(_twice, _noted(asked))):
            assert answer == 2 * number
            assert len(asked) == number + 1


class _AtOnce(Executor):
    """Does each piece before another can be asked for."""

    def __init__(self, executor: Executor) -> None:
        self.executor = executor

    def submit(self, *given: Any, **named: Any) -> Future[Any]:
        future = self.executor.submit(*given, **named)
        wait([future])
        return future


@pytest.mark.long
def test_pieces_are_asked_for_as_they_are_needed() -> None:
    asked: list[int] = []
    with workers_of(AssessTable(workers=2)) as workers:
        workers.worth = 0.0
        answers = workers.in_order(_twice, _noted(asked))
        assert next(answers) == 0
        assert len(asked) <= 4
        answers.close()  # type: ignore[attr-defined]


def test_one_worker_is_this_process() -> None:
    with workers_of(AssessTable(workers=1)) as workers:
        assert isinstance(workers, Workers)
        assert workers.begin is None
