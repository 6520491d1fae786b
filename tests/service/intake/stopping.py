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
from itertools import pairwise
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


def in_child(task: Callable[[], None], is_to_die: Callable[[], bool] = lambda: False) -> bool:
    """Run a task in a child, killed when it is to die; return whether it was killed before it ended."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            task()
            code = 0
        finally:
            os._exit(code)
    if is_to_die():
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status) != 0:
        raise RuntimeError("a pull failed")
    return os.WIFSIGNALED(status)


class Course:
    """The named points that a piece of work reaches, as its child tells them through a pipe."""

    def __init__(self) -> None:
        self._told, self._telling = os.pipe()

    def tell(self, _point: str) -> None:
        os.write(self._telling, b".")

    def is_past(self, points: int, wait_s: float) -> bool:
        """Wait until some points are reached, and a moment more; false where the work ends before."""
        os.close(self._telling)  # in the parent: the pipe ends with the child
        reached = 0
        while reached < points and os.read(self._told, 1):
            reached += 1
        time.sleep(wait_s)
        return reached == points

    def gaps_s(self) -> list[float]:
        """Return how long the work takes to each of its points, and from the last one to its end."""
        os.close(self._telling)
        times = [time.monotonic()]
        while os.read(self._told, 1):
            times.append(time.monotonic())
        times.append(time.monotonic())
        return [after - before for before, after in pairwise(times)]

    def close(self) -> None:
        os.close(self._told)


def phase(folder: Path, kind: str, commits_before: int) -> str:
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
    if kind == "compact":
        return "compacting, a month done" if commits > commits_before else "compacting, no month done"
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
    """Kill, run again, compare: each kill a drawn moment after a drawn one of the points on the way."""
    chance = random.Random(seed)
    empty, pulled = root / "empty", root / "pulled"
    fill(empty)
    shutil.copytree(empty, pulled)
    in_child(partial(work, pulled, "pull"))
    commits = commits_of(pulled)
    starts = {"pull": (empty, 0), "again": (pulled, commits), "compact": (pulled, commits)}
    expected = end(pulled)
    gaps = {kind: gaps_s(root / f"timed {kind}", start, kind) for kind, (start, _) in starts.items()}
    done = 0
    while done < kills:
        kind = chance.choice(("pull", "pull", "again", "compact"))
        start, commits = starts[kind]
        folder = root / "killed"
        shutil.copytree(start, folder)
        points = chance.randrange(len(gaps[kind]))
        told = killed(folder, kind, commits, points, chance.random() * gaps[kind][points], expected)
        if told:
            print(told, flush=True)
            done += 1
        shutil.rmtree(folder)


def gaps_s(folder: Path, start: Path, kind: str) -> list[float]:
    """Return the gaps between the points of a piece of work that nobody stops."""
    shutil.copytree(start, folder)
    course, gaps = Course(), list[float]()

    def listen() -> bool:
        gaps.extend(course.gaps_s())
        return False

    in_child(partial(work, folder, kind, course.tell), listen)
    course.close()
    return gaps


def killed(folder: Path, kind: str, commits: int, points: int, wait_s: float, expected: str) -> str:
    """Kill one piece of work and pull again; return what became of it, blank where it ended before."""
    course = Course()
    was_killed = in_child(partial(work, folder, kind, course.tell), partial(course.is_past, points, wait_s))
    course.close()
    if not was_killed:
        return ""
    found = phase(folder, kind, commits)
    in_child(partial(work, folder, "pull"))
    return f"{found}: {'same' if end(folder) == expected else 'other'}"


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
