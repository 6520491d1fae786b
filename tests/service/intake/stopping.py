"""Pulls in forked children, killed at a drawn moment and run again: run as a script, it prints a line a kill.

Arguments: a folder to work in, how many kills, a seed. Each line: the phase the kill fell into, and `same` or
`other` for the end state after one more pull.
"""

import datetime as dt
import hashlib
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

import sqlalchemy as sa

from config import load_site
from service.intake import export_intake, export_readings, pull
from service.store import open_store
from service.store.faults import no_fault

CLOCK: Final = dt.datetime(2025, 7, 1, 6, 0, tzinfo=dt.UTC)
SITE: Final = 'name = "S"\ntimezone = "UTC"\n'
FANS: Final = (
    "fan,drive,motor_kw,speed_point,current_point\nA,direct,11,A speed,A amps\nB,direct,11,B speed,B amps\n"
)
FILES: Final = 12


def fill(folder: Path) -> None:
    """Write a site with exports that overlap and disagree, over two months."""
    (folder / "drop").mkdir(parents=True)
    (folder / "site.toml").write_text(SITE)
    (folder / "fans.csv").write_text(FANS)
    for number in range(FILES):
        start = dt.datetime(2025, 1, 25) + dt.timedelta(days=number)
        lines = []
        for step in range(120):  # the last six hours are the next file's too
            values = f"{step % 50},{number + step % 7},{step % 40},{step % 9}"
            lines.append(f"{start + dt.timedelta(minutes=15 * step):%Y-%m-%d %H:%M},{values}")
        path = folder / "drop" / f"{number}.csv"
        path.write_text("Time,A speed,A amps,B speed,B amps\n" + "\n".join(lines) + "\n")
        os.utime(path, (1000.0 + number % 3, 1000.0 + number % 3))


def work(folder: Path, kind: str, reached: Callable[[str], None] = no_fault) -> None:
    """Pull with a commit for every other file; `again` rebuilds, `compact` rewrites the months after it."""
    sys.modules["service.intake.pull"].PASS_VALUES = 900  # type: ignore[attr-defined]
    site = load_site(folder)
    with open_store(site, reached) as store:
        pull(site, store, again=kind == "again", clock=lambda: CLOCK)
        if kind == "compact":
            store.compact()


def in_child(task: Callable[[], None], kill_after_s: float | None = None) -> bool:
    """Run a task in a child; return whether it was killed before it ended."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            task()
            code = 0
        finally:
            os._exit(code)
    ended, status = 0, 0
    if kill_after_s is not None:
        deadline = time.monotonic() + kill_after_s
        while not ended and time.monotonic() < deadline:
            time.sleep(0.002)
            ended, status = os.waitpid(child, os.WNOHANG)
        if not ended:
            os.kill(child, signal.SIGKILL)
    if not ended:
        _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status) != 0:
        raise RuntimeError("a pull failed")
    return os.WIFSIGNALED(status)


def phase(folder: Path, commits_before: int) -> str:
    """Return how far the work had come when it was killed."""
    state = folder / "state"
    if not any((state / "exports").glob("*.zst")):
        return "before the first write"
    engine = sa.create_engine(f"sqlite:///{state / 'slipledger.db'}")
    with engine.connect() as connection:
        states = list(connection.execute(sa.text("select state, has_readings from passes")).all())
        kept = connection.execute(sa.text("select count(*) from exports")).scalar()
        unfinished = sa.text("select count(*) from generations where state = 'building'")
        building = connection.execute(unfinished).scalar()
    engine.dispose()
    if not kept:
        return "export kept, unknown to SQL"
    where = "rebuilding, " if building else ""
    commits = commits_of(folder)
    intended = sum(1 for found, _ in states if found == "intended")
    if intended:
        done = sum(1 for found, has in states if found == "done" and has)
        return where + ("delta committed, pass not done" if commits > done else "pass intended")
    if commits > commits_before and commits_before and not building:
        return "compacting"
    return where + ("between passes" if states else "export known, no pass")


def commits_of(folder: Path) -> int:
    """Count the commits in the logs of all generations of the readings."""
    return sum(1 for _ in (folder / "state" / "readings").glob("*/_delta_log/*.json"))


def digest(folder: Path) -> None:
    """Write a digest of all that people see beside the site."""
    site = load_site(folder)
    with open_store(site) as store:
        readings = export_readings(site, store)
        intake = export_intake(store).sort_values(["file", "stored"], ignore_index=True)
    latest = intake.drop_duplicates("file", keep="last")
    text = readings.to_csv() + str(sorted(latest["file"])) + str(sorted(set(intake["rows_read"])))
    (folder.parent / f"{folder.name}.digest").write_text(hashlib.sha256(text.encode()).hexdigest())


def end(folder: Path) -> str:
    """Return the digest, made in a child: the parent opens nothing that a fork would copy."""
    in_child(partial(digest, folder))
    return (folder.parent / f"{folder.name}.digest").read_text()


def main(root: Path, kills: int, seed: int) -> None:
    """Kill, run again, compare."""
    chance = random.Random(seed)
    empty, pulled = root / "empty", root / "pulled"
    fill(empty)
    shutil.copytree(empty, pulled)
    in_child(partial(work, pulled, "pull"))
    commits = commits_of(pulled)
    starts = {"pull": (empty, 0), "again": (pulled, commits), "compact": (pulled, commits)}
    expected = end(pulled)
    lasts = {}
    for kind, (start, _) in starts.items():
        copy = root / f"timed {kind}"
        shutil.copytree(start, copy)
        begun = time.monotonic()
        in_child(partial(work, copy, kind))
        lasts[kind] = time.monotonic() - begun
    done = 0
    while done < kills:
        kind = chance.choice(("pull", "pull", "again", "compact"))
        start, commits = starts[kind]
        folder = root / "killed"
        shutil.copytree(start, folder)
        told = killed(folder, kind, commits, chance.uniform(0.3, 1.0) * lasts[kind], expected)
        if told:
            print(told, flush=True)
            done += 1
        else:
            lasts[kind] *= 0.8  # the machine was busier when the time was taken
        shutil.rmtree(folder)


def killed(folder: Path, kind: str, commits: int, after_s: float, expected: str) -> str:
    """Kill one piece of work and pull again; return what became of it, blank where it ended before."""
    if not in_child(partial(work, folder, kind), after_s):
        return ""
    found = phase(folder, commits)
    in_child(partial(work, folder, "pull"))
    return f"{found}: {'same' if end(folder) == expected else 'other'}"


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
