"""Which database the sites of these tests have: SQLite, or a real PostgreSQL with `--database postgresql`."""

from collections.abc import Callable, Iterator

import pytest
from argon2 import PasswordHasher

from service.access import passwords
from service.command_line import frame
from tests.service import databases
from tests.service.server import Server, running_server

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command line in this process: exit code, stdout, stderr."""

    def command(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stopped:
            frame.main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        code = stopped.value.code
        return (code if isinstance(code, int) else 0), captured.out, captured.err

    return command


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with running_server() as running:
        yield running


@pytest.fixture(scope="session", autouse=True)
def _database_of_sites(request: pytest.FixtureRequest) -> Iterator[None]:
    """Give every site of the session a database of its own in the server, where that is asked for."""
    if request.config.getoption("--database") == "sqlite":
        yield
        return
    databases.use(request.getfixturevalue("server"))
    yield
    databases.use(None)


@pytest.fixture
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hash passwords cheaply: what a hash costs is tested on its own."""
    monkeypatch.setattr(passwords, "_HASHER", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
