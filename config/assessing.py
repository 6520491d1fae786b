"""Who shares in the work of an assessment, as site.toml says it."""

import re
from typing import Annotated, Final, Self

from pydantic import BeforeValidator, model_validator

from config.faults import fault_in_value
from config.table import Table
from config.values import Whole, choice_reader, read_text, within

EXECUTORS: Final = ("processes", "dask")
_SCHEDULER: Final = re.compile(r"(tcp|tls|ucx|wss?)://[^\s/]+:\d{1,5}")


class AssessTable(Table):
    """Who shares in the work of an assessment: [assess]. What is found does not depend on it."""

    executor: Annotated[str, BeforeValidator(choice_reader(EXECUTORS))] = "processes"
    workers: Annotated[Whole, within(0, 4096, "write a number of processes, 0 for one a core")] = 0
    scheduler: Annotated[str, BeforeValidator(read_text)] = ""

    @model_validator(mode="after")
    def _dask_has_a_scheduler(self) -> Self:
        if self.executor == "dask" and not _SCHEDULER.fullmatch(self.scheduler):
            raise fault_in_value(
                f"has {self.scheduler!r} for the scheduler of its Dask cluster",
                'write its address, like scheduler = "tcp://host:8786"',
            )
        if self.executor != "dask" and self.scheduler:
            raise fault_in_value(
                "names a scheduler that nothing is sent to", 'write executor = "dask" or leave it out'
            )
        return self
