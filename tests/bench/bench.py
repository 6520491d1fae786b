"""What a bench is: a piece of the product's work beside references that do no more than the job needs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

# Work takes the folder of prepared inputs, which it leaves alone, and an empty folder of its own.
Work = Callable[[Path, Path], None]


@dataclass(frozen=True, slots=True)
class Size:
    """How much there is to do."""

    fans: int
    days: int

    @property
    def name(self) -> str:
        """Say it."""
        return f"{self.fans} fans, {self.days} days"


@dataclass(frozen=True, slots=True)
class Disk:
    """What a piece of work left on the disk, and the number of readings it stands for."""

    bytes: int
    values: int


def _nothing(_inputs: Path, _folder: Path) -> None:
    """Leave the folder empty."""


@dataclass(frozen=True, slots=True)
class Bench:
    """One piece of work: its inputs are prepared once; each run gets a folder made ready, both untimed."""

    name: str
    about: str
    size: Size  # unless another is asked for
    prepare: Callable[[Path, Size], None]
    subject: Work
    references: Mapping[str, Work] = field(default_factory=dict)  # by name; the first is what the limit is of
    ready: Work = _nothing  # makes a run's own folder ready
    limit: float | None = None  # on subject / first reference
    seconds_limit: float | None = None
    disk: Callable[[Path, Path], Disk] | None = None  # reads, or first compacts, what the subject left
