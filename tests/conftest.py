"""What all tests share: a property is searched with the same draws in every run, without a deadline."""

import pytest
from hypothesis import settings

settings.register_profile("slipledger", deadline=None, derandomize=True)
settings.load_profile("slipledger")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database",
        choices=("sqlite", "postgresql"),
        default="sqlite",
        help="which database the sites of tests/service have; a PostgreSQL server is started for them",
    )
