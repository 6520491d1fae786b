"""How long a person waits for `slipledger --help`."""

import subprocess
import sys
from pathlib import Path
from typing import Final

from tests.bench.bench import Bench, Size


def _prepare(inputs: Path, size: Size) -> None:
    """Need nothing."""


def _help(inputs: Path, folder: Path) -> None:
    command = [sys.executable, "-c", "from service.command_line import main; main()", "--help"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def _bare(inputs: Path, folder: Path) -> None:
    subprocess.run([sys.executable, "-c", ""], check=True)


HELPS: Final = (
    Bench(
        "help",
        "slipledger --help, beside an interpreter that does nothing",
        Size(1, 1),
        _prepare,
        _help,
        {"bare interpreter": _bare},
        seconds_limit=0.3,
    ),
)
