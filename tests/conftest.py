"""What all tests share: the draws of a property in every run, and one thread of linear algebra a process."""

from collections.abc import Iterator

import pytest
from hypothesis import settings
from threadpoolctl import threadpool_limits

settings.register_profile("slipledger", deadline=None, derandomize=True)
settings.load_profile("slipledger")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database",
        choices=("sqlite", "postgresql"),
        default="sqlite",
        help="which database the sites of tests/service have; a PostgreSQL server is started for them",
    )


@pytest.fixture(scope="session", autouse=True)
def _one_thread_of_linear_algebra() -> Iterator[None]:
    """Judge as `assess` does: two processes of two threads wait for one another at every small matrix."""
    with threadpool_limits(limits=1):
        yield
