"""Named points of the store protocol at which a test may stop the process."""

from collections.abc import Callable
from typing import Final

EXPORT_KEPT: Final = "export kept"
PASS_INTENDED: Final = "pass intended"
DELTA_COMMITTED: Final = "delta committed"
PASS_DONE: Final = "pass done"
GENERATION_BUILT: Final = "generation built"
MONTH_COMPACTED: Final = "month compacted"

type_hook = Callable[[str], None]


def no_fault(_point: str) -> None:
    """Go on."""
