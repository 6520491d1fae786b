"""Who shares in the work of an assessment, as site.toml says it."""

import re
from collections.abc import Iterator
from typing import Annotated, Final

from pydantic import BeforeValidator

from config.table import Contradiction, Rule, Table
from config.values import Whole, choice_reader, read_text, within

EXECUTORS: Final = ("processes", "dask")
_SCHEDULER: Final = re.compile(r"(tcp|tls|ucx|wss?)://[^\s/]+:\d{1,5}")


class AssessTable(Table):
    """Who shares in the work of an assessment: [assess]. What is found does not depend on it."""

    executor: Annotated[str, BeforeValidator(choice_reader(EXECUTORS))] = "processes"
    workers: Annotated[Whole, within(0, 4096, "write a number of processes, 0 for one a core")] = 0
    scheduler: Annotated[str, BeforeValidator(read_text)] = ""

    def rules(self) -> tuple[Rule, ...]:
        """Return what its keys are held against together."""
        return (self._dask_has_a_scheduler,)

    def _dask_has_a_scheduler(self) -> Iterator[Contradiction]:
        if self.executor == "dask" and not _SCHEDULER.fullmatch(str(self.scheduler)):
            problem = f"has {self.scheduler!r} for the scheduler of its Dask cluster"
            yield Contradiction(problem, 'write its address, like scheduler = "tcp://host:8786"')
        if self.executor != "dask" and self.scheduler:
            problem = "names a scheduler that nothing is sent to"
            yield Contradiction(problem, 'write executor = "dask" or leave it out')
