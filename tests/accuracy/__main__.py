"""Print the whole accuracy table: `python -m tests.accuracy`. A stopped run goes on where it stood."""

import argparse
import sys
import time
from pathlib import Path

import pandas as pd

from tests.accuracy.drawing import CAUSES, HEALTHY_DAYS, QUIET, RAMP, STEP
from tests.accuracy.running import Batch, batches, judge_each
from tests.accuracy.table import report

QUIET_DAYS = 400
JUDGED_QUIET_DAYS = QUIET_DAYS - HEALTHY_DAYS


def main() -> None:
    """Judge every class and the quiet fan-years, then print the table."""
    asked = _arguments()
    tasks = batches(asked.seed, (*CAUSES, STEP, RAMP), asked.fans, kept_in=asked.keep)
    quiet = round(asked.quiet_years * 365.25 / JUDGED_QUIET_DAYS)
    tasks += batches(asked.seed + 1, (QUIET,), quiet, days=QUIET_DAYS, kept_in=asked.keep)
    done = _judged(tasks, asked.processes)
    classes = [frame for batch, frame in zip(tasks, done, strict=True) if batch.days is None]
    long = [frame for batch, frame in zip(tasks, done, strict=True) if batch.days is not None]
    quiet_rows = pd.concat(long, ignore_index=True) if long else None
    print(report(pd.concat(classes, ignore_index=True), quiet_rows))


def _judged(tasks: list[Batch], processes: int) -> list[pd.DataFrame]:
    began, done = time.monotonic(), []
    for number, frame in enumerate(judge_each(tasks, processes), start=1):
        done.append(frame)
        minutes = (time.monotonic() - began) / 60.0
        print(f"\r{number} of {len(tasks)} batches, {minutes:.1f} min", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return done


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--fans", type=int, default=60, help="drawn fans a class")
    parser.add_argument("--quiet-years", type=float, default=300.0, help="quiet fan-years for false alerts")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder of finished batches, for a run that may be stopped")
    return parser.parse_args()


if __name__ == "__main__":
    main()
