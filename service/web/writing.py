"""Writing to the site from a page: after whoever writes now, or not at all."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from service.web.desk import Desk
from service.web.problem import Problem

# Less than the time a request may take: the visitor is told, not cut off.
_PATIENCE_S: Final = 20.0
_PAUSE_S: Final = 0.2
_ONE_AT_A_TIME: Final = threading.Lock()


@contextmanager
def writing(desk: Desk, what: str) -> Iterator[None]:
    """Be the one who writes to the site; answers 503 when another is not done in time."""
    ends = time.monotonic() + _PATIENCE_S
    with _ONE_AT_A_TIME:  # the lease is a process's, and pages are many threads
        while True:
            with desk.store.lease.tried(what) as is_mine:
                if is_mine:
                    yield
                    return
            if time.monotonic() > ends:
                holder = desk.store.lease.holder()
                doing = "" if holder is None else f" ({holder.what})"
                raise Problem(
                    503,
                    f"The site is being written to{doing}; nothing was kept.",
                    "send it again in a minute",
                )
            time.sleep(_PAUSE_S)
