"""The process that a bench runs in: `times` many runs in one warm process, `peak` one run in a fresh one."""

import gc
import json
import resource
import sys
from pathlib import Path
from shutil import rmtree
from typing import Any, Final

from tests.bench.bench import Bench, Size, Work
from tests.bench.registry import bench_named

SUBJECT: Final = "subject"
_TOY: Final = Size(2, 3)
_STATUS: Final = Path("/proc/self/status")


def times(bench: Bench, inputs: Path, scratch: Path, rounds: int) -> dict[str, list[float]]:
    """Return the processor seconds of each round of the subject and of each reference, by turns."""
    works: dict[str, Work] = {SUBJECT: bench.subject, **bench.references}
    taken: dict[str, list[float]] = {name: [] for name in works}
    for number in range(rounds):
        for name, work in works.items():
            taken[name].append(_timed(bench, work, inputs, scratch / f"{name} {number}"))
    return taken


def warm(bench: Bench, scratch: Path) -> None:
    """Run everything once on a toy, so that no round pays for an import."""
    toy = scratch / "toy"
    toy.mkdir()
    bench.prepare(toy, _TOY)
    times(bench, toy, scratch, 1)


def _timed(bench: Bench, work: Work, inputs: Path, folder: Path) -> float:
    folder.mkdir()
    bench.ready(inputs, folder)
    gc.collect()
    begun = _processor_seconds()
    work(inputs, folder)
    taken = _processor_seconds() - begun
    rmtree(folder)
    return taken


def _processor_seconds() -> float:
    """Return the processor time of this process and its children: other work on the machine is not in it."""
    own, ended = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + ended.ru_utime + ended.ru_stime


def peak(bench: Bench, inputs: Path, scratch: Path) -> dict[str, Any]:
    """Run the subject once; return the most memory the process ever held, and what is left on the disk."""
    folder = scratch / "peak"
    folder.mkdir()
    bench.ready(inputs, folder)
    bench.subject(inputs, folder)
    result: dict[str, Any] = {"peak_bytes": _peak_bytes()}
    if bench.disk is not None:
        left = bench.disk(inputs, folder)
        result |= {"disk_bytes": left.bytes, "values": left.values}
    rmtree(folder)
    return result


def _peak_bytes() -> int:
    """Return the high-water mark of this program alone: Linux's ru_maxrss begins at that of its parent."""
    if _STATUS.exists():
        for line in _STATUS.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    scale = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale


def main(task: str, name: str, inputs: str, scratch: str, rounds: str) -> None:
    """Do a task of a bench and print the answer as the last line."""
    bench, folder = bench_named(name), Path(scratch)
    if task == "times":
        warm(bench, folder)
        print(json.dumps(times(bench, Path(inputs), folder, int(rounds))))
    else:
        print(json.dumps(peak(bench, Path(inputs), folder)))


if __name__ == "__main__":
    main(*sys.argv[1:])
