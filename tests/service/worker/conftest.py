"""Mail servers for the worker's tests."""

import socket
from collections.abc import Callable, Iterator

import pytest
from aiosmtpd.controller import Controller

from tests.service.worker.hall import Post


@pytest.fixture
def post() -> Iterator[Callable[[], tuple[Post, int]]]:
    """Start mail servers."""
    started: list[Controller] = []

    def start() -> tuple[Post, int]:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        kept = Post()
        controller = Controller(kept, hostname="127.0.0.1", port=port)
        controller.start()
        started.append(controller)
        return kept, port

    yield start
    for controller in started:
        controller.stop()
