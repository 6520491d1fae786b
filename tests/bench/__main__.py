"""One command for all benches: `python -m tests.bench [names] [--fans N ...] [--months M ...]`."""

import argparse
import json
import math
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tests.bench.bench import Bench, Size
from tests.bench.machine import machine
from tests.bench.registry import benches

_ROUNDS: Final = 3
_MEGABYTE: Final = 1_000_000
_WIDTHS: Final = (20, 20, 9, 7, 7, 22, 8, 8)
_TITLES: Final = ("bench", "size", "seconds", "ratio", "limit", "of", "peak MB", "B/value")


@dataclass(frozen=True, slots=True)
class Measured:
    """A bench's best processor seconds, its peak memory and its bytes a value, where it leaves any."""

    seconds: dict[str, float]  # the subject's first
    peak_bytes: int
    bytes_per_value: float | None


def measure(bench: Bench, size: Size, rounds: int, folder: Path) -> Measured:
    """Prepare a bench's inputs and run it in processes of its own."""
    inputs = folder / "inputs"
    inputs.mkdir()
    bench.prepare(inputs, size)
    taken = _child("times", bench, inputs, folder, rounds)
    found = _child("peak", bench, inputs, folder, rounds)
    return Measured(
        {name: min(times) for name, times in taken.items()},
        found["peak_bytes"],
        found["disk_bytes"] / found["values"] if "values" in found else None,
    )


def _child(task: str, bench: Bench, inputs: Path, folder: Path, rounds: int) -> dict[str, Any]:
    scratch = folder / task
    scratch.mkdir()
    command = [sys.executable, "-m", "tests.bench.child", task, bench.name, str(inputs), str(scratch)]
    done = subprocess.run([*command, str(rounds)], check=True, stdout=subprocess.PIPE, text=True)
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def lines_of(bench: Bench, size: Size, measured: Measured) -> list[str]:
    """Return a bench's lines of the table: a line a reference."""
    (_, seconds), *references = measured.seconds.items()
    limit = f"{bench.limit:g}" if bench.limit else f"{bench.seconds_limit:g} s" if bench.seconds_limit else ""
    peak = f"{measured.peak_bytes / _MEGABYTE:.0f}"
    disk = "" if measured.bytes_per_value is None else f"{measured.bytes_per_value:.2f}"
    lines = []
    for place, (name, bare) in enumerate(references or [("", math.inf)]):
        ratio = f"{seconds / bare:.2f}" if name else ""
        own = (limit, peak, disk) if place == 0 else ("", "", "")
        lines.append(
            _line(bench.name, size.name, f"{seconds:.3f}", ratio, own[0], name or "nothing", own[1], own[2])
        )
    return lines


def _line(*cells: str) -> str:
    return "  ".join(
        cell.ljust(width) if place in (0, 1, 5) else cell.rjust(width)
        for place, (cell, width) in enumerate(zip(cells, _WIDTHS, strict=True))
    ).rstrip()


def _arguments(every: Sequence[Bench]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    known = "; ".join(f"{bench.name}: {bench.about}" for bench in every)
    parser.add_argument("names", nargs="*", help=f"the benches to run, by the beginning of a name ({known})")
    parser.add_argument(
        "--fans", type=int, nargs="+", help="fans in the fleet, in place of each bench's own number"
    )
    parser.add_argument(
        "--months", type=int, nargs="+", help="months of 30 days, in place of each bench's own"
    )
    parser.add_argument("--days", type=int, help="days, in place of each bench's own")
    parser.add_argument("--rounds", type=int, default=_ROUNDS, help="runs by turns; the best counts")
    return parser.parse_args()


def main() -> None:
    """Run the benches asked for and print the table as it grows."""
    every = list(benches())
    asked = _arguments(every)
    chosen = [
        bench
        for bench in every
        if not asked.names or any(bench.name.startswith(name) for name in asked.names)
    ]
    if not chosen:
        sys.exit(f"no bench of that name; there are: {', '.join(bench.name for bench in every)}")
    print(machine(), _line(*_TITLES), sep="\n", flush=True)
    for bench in chosen:
        for size in sizes_of(bench, asked):
            with tempfile.TemporaryDirectory(prefix="bench-") as folder:
                measured = measure(bench, size, asked.rounds, Path(folder))
            print(*lines_of(bench, size, measured), sep="\n", flush=True)


def sizes_of(bench: Bench, asked: argparse.Namespace) -> list[Size]:
    """Return every size asked for, of each number of fans each number of days."""
    days = [asked.days] if asked.days else [30 * months for months in asked.months or ()]
    return [
        Size(fans, length) for fans in asked.fans or [bench.size.fans] for length in days or [bench.size.days]
    ]


if __name__ == "__main__":
    main()
